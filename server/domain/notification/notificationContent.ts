import { type FaultKind, ruleOf } from "../faults.ts";
import { between, earlier, type Instant, later, minutes } from "../instant.ts";
import { momentText } from "../localTime.ts";
import { spanText } from "../silence/spanText.ts";
import type { NotificationAction, NotificationContent } from "./content.ts";
import { isUndelivered } from "./deliveryLoss.ts";
import type { Escalation, EscalationNews, OutgoingNotification } from "./escalation.ts";
import { alarmTimeToLive, closingTimeToLive } from "./intervals.ts";

/** The words of a call for one person. All of one call have its topic, so the newest stands alone on the screen. */

/** It rings: for the first time, or again. */
export function alarmContent(call: Escalation, reminder: boolean, zone: string, now: Instant): NotificationContent {
  const asked = openContent(call);
  return { ...asked, body: `${introduction(call, reminder, zone, now)}${asked.body}`, silent: false };
}

/** The same alarm in newer words, or again what it was: in place of what stands there, without a sound. */
export const correctionContent = (call: Escalation): NotificationContent => ({ ...openContent(call), silent: true });

/** It asks for nothing any more. */
export const closingContent = (call: Escalation, { title, body }: EscalationNews): NotificationContent => ({
  fault: call.fault,
  priority: call.priority,
  topic: call.topic,
  timeToLive: closingTimeToLive,
  title,
  body,
  silent: true,
  raisedAt: call.raisedAt,
  isClosing: true,
});

export const notificationTo = (
  call: Escalation,
  person: string,
  by: OutgoingNotification["channel"],
  notice: NotificationContent,
): OutgoingNotification => ({
  person,
  channel: by,
  yard: call.yard,
  feeder: call.feeder,
  content: notice,
});

/** "Ada has seen it: food out at Rowan" */
export function acknowledgedNews(call: Escalation, by: string): EscalationNews {
  const said = `${call.subjectName}: `;
  const what = call.title.startsWith(said) ? call.title.slice(said.length) : ruleOf(call.fault).title;
  return {
    title: `${by} has seen it: ${what} at ${call.subjectName}`,
    body: "Nothing more is asked of you unless it grows worse.",
  };
}

/** "Rowan: set aside" */
export const suppressedNews = (call: Escalation, words: string): EscalationNews => ({
  title: `${call.subjectName}: set aside`,
  body: `${words} Nothing is asked of you for now.`.trim(),
});

/**
 * Where no food or not enough of it comes out, each press and deposit that goes unpaid teaches the birds not to come; a
 * pause stops that. It helps nothing else, and a silent feeder couldn't hear it.
 */
const faultsHelpedByPause: ReadonlySet<FaultKind> = new Set([
  "motorNotTurning",
  "motorStalled",
  "foodOut",
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "depositUnpaid",
]);

function actionsFor(call: Escalation): readonly NotificationAction[] {
  if (call.acknowledgedBy !== null) return [];
  return call.feeder !== null && faultsHelpedByPause.has(call.fault) ? ["acknowledge", "pause"] : ["acknowledge"];
}

const openContent = (call: Escalation): Omit<NotificationContent, "silent"> => ({
  fault: call.fault,
  priority: call.priority,
  topic: call.topic,
  timeToLive: alarmTimeToLive[call.priority],
  title: call.title,
  body: `${call.body}${alsoFeedersText(call.alsoFeeders)}`,
  raisedAt: call.raisedAt,
  actions: actionsFor(call),
  ...actionTarget(call),
});

/** " Also at Larch and Birch." */
function alsoFeedersText(names: readonly string[]): string {
  if (names.length === 0) return "";
  const said = names.length <= 3 ? names : [...names.slice(0, 2), `${names.length - 2} more`];
  return ` Also at ${[said.slice(0, -1).join(", "), said.at(-1)].filter((words) => words !== "").join(" and ")}.`;
}

/** Any of the silent feeders will do: whoever has seen that one is silent has seen why they all are. */
function actionTarget({ feeder, silentFeeders: [one] }: Escalation): Pick<NotificationContent, "actionTarget"> {
  if (feeder !== null || one === undefined) return {};
  return { actionTarget: { feeder: one.feeder, raisedAt: one.raisedAt } };
}

/** Later than this its own words ("nothing heard for 3 minutes") need a time beside them. */
const firstNoticeWithin = minutes(5);

/** What has passed since the alarm's own words were true, as far as it matters to who reads them now. */
function introduction(call: Escalation, reminder: boolean, zone: string, now: Instant): string {
  if (reminder) return `Still so after ${spanText(between(call.renewedAt, now))}, and nobody has answered. `;
  const earlierRing = firstNotifiedOf(call);
  if (earlierRing !== null && earlierRing < now) {
    return `Nobody has answered for ${spanText(between(earlierRing, now))}. `;
  }
  return between(call.renewedAt, now) < firstNoticeWithin ? "" : `Since ${momentText(call.renewedAt, zone, now)}. `;
}

function firstNotifiedOf(call: Escalation): Instant | null {
  const { recipientStates, renewedAt } = call;
  const rings = recipientStates
    .filter((one) => one.timesNotified > 0 && !isUndelivered(call, one))
    .map(({ firstNotifiedAt }) => later(firstNotifiedAt, renewedAt));
  return rings.length === 0 ? null : rings.reduce(earlier);
}
