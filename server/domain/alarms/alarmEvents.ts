import { capitalize } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { type FaultKind, type FaultRule, faultKinds, type Priority, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { after, minutes } from "../instant.ts";
import type { AlarmEvent, NotifiedPriority } from "../notification/escalation.ts";
import { nameWithPractice } from "../notification/nameWithPractice.ts";
import type { FeederSettings } from "../settings.ts";
import { type Alarm, raiseOf } from "./alarm.ts";
import type { AlarmChange } from "./alarmStates.ts";
import { priorityRank } from "./alarmTransitions.ts";

/** The feeder of the alarm, and the faults that the alarm explains now. */
export interface EventContext {
  readonly settings: Pick<FeederSettings, "name" | "practice">;
  readonly explains: readonly FaultKind[];
}

/** A fault that returns this soon after its end, still unacknowledged, corrects the phone's screen without a sound. */
const sameEpisodeWithin = minutes(60);

/**
 * The events of one step of an alarm: raised and worsened; acknowledged; returned to normal; suppressed. None for a fault that only
 * started or ended. A `note` stays in the digest. The end of a shelving raises the alarm again where the fault is present; the end of
 * a suppression makes no sound, but an unacknowledged alarm is put back on the screens.
 *
 * A latched alarm that nobody has acknowledged stays active after its fault has ended, since somebody must check the feeder. Its
 * end is reported when somebody has acknowledged it.
 */
export function alarmEvents(
  context: EventContext,
  changes: readonly AlarmChange[],
  before: Alarm | null,
  after: Alarm | null,
): readonly AlarmEvent[] {
  return changes.flatMap((change) => eventsOfChange(context, change, before, after));
}

function eventsOfChange(
  context: EventContext,
  change: AlarmChange,
  before: Alarm | null,
  after: Alarm | null,
): readonly AlarmEvent[] {
  const { from, to } = change;
  if (from === to && to !== "unacknowledged") return []; // the fault only started or ended
  const notified = notifiedPriorityOf(before);
  switch (to) {
    case "unacknowledged":
      return from === to || from === "acknowledged"
        ? worsenEvents(context, change, notified, after)
        : raiseEvents(context, change, before, after);
    case "latchedUnacknowledged":
      return from === "unacknowledged" ? [] : resumeEvents(context, change, after);
    default:
      return notified === null || notified === "note" ? [] : followUpEvents(context, change, after);
  }
}

const notifiedPriorityOf = (alarm: Alarm | null): Priority | null =>
  alarm === null ? null : (raiseOf(alarm)?.notifiedPriority ?? null);

/** For people who were notified of the alarm: somebody acknowledged it, it ended, or it is suppressed. */
function followUpEvents(context: EventContext, change: AlarmChange, after: Alarm | null): readonly AlarmEvent[] {
  const { from, to } = change;
  switch (to) {
    case "acknowledged":
      return from === "unacknowledged" ? acknowledgeEvents(change, after) : [];
    case "latchedAcknowledged":
      return latchedAcknowledgeEvents(context, change, after);
    case "returnedUnacknowledged":
      return [returnEvent(context, change)];
    case "normal":
      return from === "acknowledged" ? [returnEvent(context, change)] : [];
    case "shelved":
    case "suppressedByDesign":
    case "outOfService":
      return activeStates.has(from) ? suppressEvents(change, after) : [];
    default:
      return [];
  }
}

function latchedAcknowledgeEvents(
  context: EventContext,
  change: AlarmChange,
  after: Alarm | null,
): readonly AlarmEvent[] {
  const { from } = change;
  if (from === "shelved" || from === "outOfService") return [];
  const acknowledged = from === "latchedUnacknowledged" ? acknowledgeEvents(change, after) : [];
  return [...acknowledged, returnEvent(context, change)];
}

/** A new raise: neither the end of a suppression of an alarm that people know already, nor a higher priority alone. */
export function isRaise({ from, to }: AlarmChange, before: Alarm | null): boolean {
  if (to !== "unacknowledged" || from === to || from === "acknowledged") return false;
  return !(before?.state === "suppressedByDesign" && before.raised !== null); // people were notified before the suppression
}

/** In these states people are asked to act, or know that somebody is acting. */
const activeStates: ReadonlySet<AlarmChange["from"]> = new Set<AlarmChange["from"]>([
  "unacknowledged",
  "acknowledged",
  "latchedUnacknowledged",
]);

function raiseEvents(
  context: EventContext,
  change: AlarmChange,
  before: Alarm | null,
  after: Alarm | null,
): readonly AlarmEvent[] {
  if (!isRaise(change, before)) return resumeEvents(context, change, after);
  if (after?.state !== "unacknowledged" || after.notifiedPriority === "note") return [];
  const { at } = change;
  const corrects =
    before !== null &&
    "returnedAt" in before &&
    before.state !== "latchedAcknowledged" &&
    isSoon(before.returnedAt, at);
  return [{ ...eventText(context, change, after.notifiedPriority), kind: "raised", at, sameEpisode: corrects }];
}

const isSoon = (endedAt: AlarmChange["at"], raisedAt: AlarmChange["at"]): boolean =>
  raisedAt < after(endedAt, sameEpisodeWithin);

/** People were notified before the suppression and nobody has acknowledged: the escalation continues, without a new sound. */
function resumeEvents(context: EventContext, change: AlarmChange, alarm: Alarm | null): readonly AlarmEvent[] {
  if (alarm?.state !== "unacknowledged" && alarm?.state !== "latchedUnacknowledged") return []; // ended meanwhile
  if (alarm.notifiedPriority === "note") return [];
  const text = eventText(context, { fault: change.fault, reason: reasonOf(alarm) }, alarm.notifiedPriority);
  return [{ ...text, kind: "raised", at: alarm.raisedAt, sameEpisode: true }];
}

/** The text of a fault that has ended says so. */
const reasonOf = ({ present, finding: { reason } }: Alarm): string =>
  present ? reason : texts.alarms.endedBefore(reason);

function worsenEvents(
  context: EventContext,
  change: AlarmChange,
  notified: Priority | null,
  alarm: Alarm | null,
): readonly AlarmEvent[] {
  if (alarm?.state !== "unacknowledged" || alarm.notifiedPriority === "note" || notified === null) return [];
  if (priorityRank[alarm.notifiedPriority] >= priorityRank[notified]) return []; // its fault only started or ended
  const { raisedAt } = alarm;
  const common = eventText(context, change, alarm.notifiedPriority);
  if (notified === "note") return [{ ...common, kind: "raised", at: raisedAt, sameEpisode: false }]; // nobody was notified yet
  return [{ ...common, kind: "worsened", at: change.at, raisedAt }];
}

function acknowledgeEvents({ fault, at }: AlarmChange, alarm: Alarm | null): readonly AlarmEvent[] {
  if (alarm?.state !== "acknowledged" && alarm?.state !== "latchedAcknowledged") return [];
  return [{ kind: "acknowledged", fault, at, by: alarm.acknowledgedBy }];
}

function returnEvent({ settings }: EventContext, { fault, at }: AlarmChange): AlarmEvent {
  const { title, latched } = ruleOf(fault);
  const ended = texts.alarms.hasEnded(capitalize(title));
  // Only this alarm: other alarms of the feeder have their own notifications.
  if (!latched)
    return { kind: "returned", fault, at, title: titleOf(settings, texts.alarms.endedTitle(title)), body: ended };
  const body = texts.alarms.checkAfterEnd(ended);
  return { kind: "returned", fault, at, title: titleOf(settings, texts.alarms.checkNeeded), body };
}

function suppressEvents({ fault, at }: AlarmChange, alarm: Alarm | null): readonly AlarmEvent[] {
  switch (alarm?.state) {
    case "shelved":
      return [{ kind: "suppressed", fault, at, text: texts.alarms.shelvedBy(alarm.shelvedBy) }];
    case "outOfService":
      return [{ kind: "suppressed", fault, at, text: texts.alarms.outOfService(alarm.outBy, alarm.outReason) }];
    case "suppressedByDesign":
      return [{ kind: "suppressed", fault, at, text: alarm.reason }];
    default:
      return [];
  }
}

/**
 * Events that start the escalations of unacknowledged alarms again, where the escalation was lost. To notify people twice is better
 * than not to notify them.
 */
export function standingAlarmEvents({
  alarms,
  settings,
}: Pick<FeederState, "alarms" | "settings">): readonly AlarmEvent[] {
  return faultKinds.flatMap((fault): AlarmEvent[] => {
    const alarm = alarms[fault];
    if (alarm?.state !== "unacknowledged" && alarm?.state !== "latchedUnacknowledged") return [];
    if (alarm.notifiedPriority === "note") return [];
    const text = eventText({ settings, explains: [] }, { fault, reason: reasonOf(alarm) }, alarm.notifiedPriority);
    return [{ ...text, kind: "raised", at: alarm.raisedAt, sameEpisode: true }];
  });
}

// --- text ------------------------------------------------------------------------------------------------------------

type FaultReason = Pick<AlarmChange, "fault" | "reason">;
const eventText = (
  { settings, explains }: EventContext,
  { fault, reason }: FaultReason,
  priority: NotifiedPriority,
) => {
  const rule = ruleOf(fault);
  return { fault, priority, title: titleOf(settings, rule.title), body: bodyOf(reason, explains, rule) };
};

const titleOf = (settings: EventContext["settings"], text: string): string =>
  texts.notification.titled(nameWithPractice(settings), text);

const bodyMax = 400; // longer is cut off on the phone anyway, and the whole push must fit 4 kB

/** The advice and the explained faults must not be cut off, so the reason is shortened. */
function bodyOf(reason: string, explains: readonly FaultKind[], { advice }: FaultRule): string {
  const rest = explains.length === 0 ? advice : `${explainsText(explains)} ${advice}`;
  const reasonMax = bodyMax - rest.length - 1;
  const shortReason = reason.length <= reasonMax ? reason : `${reason.slice(0, reasonMax - 1).trimEnd()}…`;
  return `${shortReason} ${rest}`;
}

const namedMax = 3; // more would crowd out the reason
function explainsText(explains: readonly FaultKind[]): string {
  const titles = explains.slice(0, namedMax).map((kind) => ruleOf(kind).title);
  const more = explains.length - titles.length;
  return texts.alarms.alsoIncludes(texts.lists.andMore(titles.join(", "), more));
}
