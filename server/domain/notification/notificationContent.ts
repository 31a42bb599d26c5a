import { spanText } from "../../text/format.ts";
import { type FaultKind, ruleOf } from "../faults.ts";
import { between, earlier, type Instant, later, minutes } from "../instant.ts";
import { momentText } from "../localTime.ts";
import type { NotificationAction, NotificationContent } from "./content.ts";
import { isUndelivered } from "./deliveryLoss.ts";
import type { Escalation, EscalationNews, OutgoingNotification } from "./escalation.ts";
import { alarmTimeToLive, closingTimeToLive } from "./intervals.ts";

/** The messages of an escalation for one person. All have its topic, so the newest replaces the others on the screen. */

/** With sound: the first notification, or a reminder. */
export function alarmContent(
  escalation: Escalation,
  reminder: boolean,
  zone: string,
  now: Instant,
): NotificationContent {
  const content = openContent(escalation);
  return { ...content, body: `${introduction(escalation, reminder, zone, now)}${content.body}`, silent: false };
}

/** The same alarm with its present text: replaces the one on the screen, without a sound. */
export const correctionContent = (escalation: Escalation): NotificationContent => ({
  ...openContent(escalation),
  silent: true,
});

/** No response is needed any more. */
export const closingContent = (escalation: Escalation, { title, body }: EscalationNews): NotificationContent => ({
  fault: escalation.fault,
  priority: escalation.priority,
  topic: escalation.topic,
  timeToLive: closingTimeToLive,
  title,
  body,
  silent: true,
  raisedAt: escalation.raisedAt,
  isClosing: true,
});

export const notificationTo = (
  escalation: Escalation,
  person: string,
  channel: OutgoingNotification["channel"],
  content: NotificationContent,
): OutgoingNotification => ({
  person,
  channel,
  yard: escalation.yard,
  feeder: escalation.feeder,
  content,
});

/** "Acknowledged by Ada: hopper empty at Rowan" */
export function acknowledgedNews(escalation: Escalation, by: string): EscalationNews {
  const prefix = `${escalation.subjectName}: `;
  const what = escalation.title.startsWith(prefix)
    ? escalation.title.slice(prefix.length)
    : ruleOf(escalation.fault).title;
  return {
    title: `Acknowledged by ${by}: ${what} at ${escalation.subjectName}`,
    body: "You need to do nothing unless it gets worse.",
  };
}

/** "Rowan: no action needed" */
export const suppressedNews = (escalation: Escalation, text: string): EscalationNews => ({
  title: `${escalation.subjectName}: no action needed`,
  body: `${text} You need to do nothing for now.`.trim(),
});

/**
 * Without food, each press and deposit that gets no portion teaches the birds not to come; a pause stops that. It helps with no
 * other fault, and a feeder that doesn't report can't get it.
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

function actionsFor(escalation: Escalation): readonly NotificationAction[] {
  if (escalation.acknowledgedBy !== null) return [];
  return escalation.feeder !== null && faultsHelpedByPause.has(escalation.fault)
    ? ["acknowledge", "pause"]
    : ["acknowledge"];
}

const openContent = (escalation: Escalation): Omit<NotificationContent, "silent"> => ({
  fault: escalation.fault,
  priority: escalation.priority,
  topic: escalation.topic,
  timeToLive: alarmTimeToLive[escalation.priority],
  title: escalation.title,
  body: `${escalation.body}${alsoFeedersText(escalation.alsoFeeders)}`,
  raisedAt: escalation.raisedAt,
  actions: actionsFor(escalation),
  ...actionTarget(escalation),
});

/** " Also at Larch and Birch." */
function alsoFeedersText(names: readonly string[]): string {
  if (names.length === 0) return "";
  const listed = names.length <= 3 ? names : [...names.slice(0, 2), `${names.length - 2} more`];
  return ` Also at ${[listed.slice(0, -1).join(", "), listed.at(-1)].filter((text) => text !== "").join(" and ")}.`;
}

/** Any of the feeders without reports: to acknowledge one acknowledges all. */
function actionTarget({ feeder, silentFeeders: [one] }: Escalation): Pick<NotificationContent, "actionTarget"> {
  if (feeder !== null || one === undefined) return {};
  return { actionTarget: { feeder: one.feeder, raisedAt: one.raisedAt } };
}

/** Later than this the text of the alarm ("No report for 3 minutes") needs a time with it. */
const firstNotificationWithin = minutes(5);

/** How much time has passed since the text of the alarm was written, where it matters to the reader. */
function introduction(escalation: Escalation, reminder: boolean, zone: string, now: Instant): string {
  if (reminder) return `Still active after ${spanText(between(escalation.renewedAt, now))}, not acknowledged. `;
  const firstAt = firstNotifiedOf(escalation);
  if (firstAt !== null && firstAt < now) {
    return `Not acknowledged for ${spanText(between(firstAt, now))}. `;
  }
  return between(escalation.renewedAt, now) < firstNotificationWithin
    ? ""
    : `Since ${momentText(escalation.renewedAt, zone, now)}. `;
}

function firstNotifiedOf(escalation: Escalation): Instant | null {
  const { recipientStates, renewedAt } = escalation;
  const times = recipientStates
    .filter((one) => one.timesNotified > 0 && !isUndelivered(escalation, one))
    .map(({ firstNotifiedAt }) => later(firstNotifiedAt, renewedAt));
  return times.length === 0 ? null : times.reduce(earlier);
}
