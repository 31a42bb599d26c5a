import { spanText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
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
  return { ...content, body: bodyWithAge(content.body, escalation, { reminder, zone, now }), silent: false };
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
  const prefix = texts.notification.titled(escalation.subjectName, "");
  const what = escalation.title.startsWith(prefix)
    ? escalation.title.slice(prefix.length)
    : ruleOf(escalation.fault).title;
  return {
    title: texts.notification.acknowledged.title(by, what, escalation.subjectName),
    body: texts.notification.acknowledged.body,
  };
}

/** "Rowan: no action needed" */
export const suppressedNews = (escalation: Escalation, text: string): EscalationNews => ({
  title: texts.notification.suppressed.title(escalation.subjectName),
  body: texts.notification.suppressed.body(text),
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
  "paymentUnclear",
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
  body: withOtherFeeders(escalation.body, escalation.alsoFeeders),
  raisedAt: escalation.raisedAt,
  actions: actionsFor(escalation),
  ...actionTarget(escalation),
});

/** "... Also at Larch and Birch." */
function withOtherFeeders(body: string, names: readonly string[]): string {
  if (names.length === 0) return body;
  const { alsoAt, moreNames } = texts.notification;
  const listed = names.length <= 3 ? names : [...names.slice(0, 2), moreNames(names.length - 2)];
  const last = listed.at(-1) ?? "";
  return alsoAt(body, listed.length === 1 ? last : texts.lists.and(listed.slice(0, -1).join(", "), last));
}

/** Any of the feeders without reports: to acknowledge one acknowledges all. */
function actionTarget({ feeder, silentFeeders: [one] }: Escalation): Pick<NotificationContent, "actionTarget"> {
  if (feeder !== null || one === undefined) return {};
  return { actionTarget: { feeder: one.feeder, raisedAt: one.raisedAt } };
}

/** Later than this the text of the alarm ("No report for 3 minutes") needs a time with it. */
const firstNotificationWithin = minutes(5);

/** Says how much time has passed since the text of the alarm was written, where it matters to the reader. */
function bodyWithAge(
  body: string,
  escalation: Escalation,
  { reminder, zone, now }: { readonly reminder: boolean; readonly zone: string; readonly now: Instant },
): string {
  const { renewedAt } = escalation;
  const { notAcknowledged, since, stillActive } = texts.notification;
  if (reminder) return stillActive(spanText(between(renewedAt, now)), body);
  const firstAt = firstNotifiedOf(escalation);
  if (firstAt !== null && firstAt < now) return notAcknowledged(spanText(between(firstAt, now)), body);
  const isRecent = between(renewedAt, now) < firstNotificationWithin;
  return isRecent ? body : since(momentText(renewedAt, zone, now), body);
}

function firstNotifiedOf(escalation: Escalation): Instant | null {
  const { recipientStates, renewedAt } = escalation;
  const times = recipientStates
    .filter((one) => one.timesNotified > 0 && !isUndelivered(escalation, one))
    .map(({ firstNotifiedAt }) => later(firstNotifiedAt, renewedAt));
  return times.length === 0 ? null : times.reduce(earlier);
}
