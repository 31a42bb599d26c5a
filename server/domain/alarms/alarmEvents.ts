import { type FaultKind, type FaultRule, faultKinds, type Priority, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { after, minutes } from "../instant.ts";
import type { AlarmEvent, NotifiedPriority } from "../notification/escalation.ts";
import { nameWithPractice } from "../notification/nameWithPractice.ts";
import type { FeederSettings } from "../settings.ts";
import { type Alarm, raiseOf } from "./alarm.ts";
import type { AlarmChange } from "./alarmStates.ts";
import { priorityRank } from "./alarmTransitions.ts";

/** Whose alarm it is, and what it stands for besides itself just now. */
export interface EventContext {
  readonly settings: Pick<FeederSettings, "name" | "practice">;
  readonly explains: readonly FaultKind[];
}

/** A fault that comes back this soon after it went, still unacknowledged, corrects the phone's screen without a sound. */
const sameEpisodeWithin = minutes(60);

/**
 * What people are to hear of one step of an alarm's life. Raised and worsened; acknowledged; returned to normal; set aside:
 * and nothing of a fault that only came or went. A `note` never leaves the digest. The end of a shelving raises anew where
 * the fault is there; the end of a suppression wakes nobody, but what still waits for an answer is put back on the screens.
 *
 * What is latched and unacknowledged goes on asking when its fault is gone, since somebody must look all the same. That it is
 * gone is told once somebody has answered.
 */
export function alarmEvents(
  spoken: EventContext,
  changes: readonly AlarmChange[],
  before: Alarm | null,
  after: Alarm | null,
): readonly AlarmEvent[] {
  return changes.flatMap((change) => eventsOfChange(spoken, change, before, after));
}

function eventsOfChange(
  spoken: EventContext,
  change: AlarmChange,
  before: Alarm | null,
  after: Alarm | null,
): readonly AlarmEvent[] {
  const { from, to } = change;
  if (from === to && to !== "unacknowledged") return []; // the fault came or went, and that is all
  const was = before === null ? null : raiseOf(before);
  const wasCalled = was !== null && was.notifiedPriority !== "note";
  switch (to) {
    case "unacknowledged":
      return from === to || from === "acknowledged"
        ? worsenEvents(spoken, change, was?.notifiedPriority ?? null, after)
        : raiseEvents(spoken, change, before, after);
    case "latchedUnacknowledged":
      return from === "unacknowledged" ? [] : resumeEvents(spoken, change, after);
    case "acknowledged":
      return from === "unacknowledged" && wasCalled ? acknowledgeEvents(change, after) : [];
    case "latchedAcknowledged":
      if (!wasCalled || from === "shelved" || from === "outOfService") return [];
      return [
        ...(from === "latchedUnacknowledged" ? acknowledgeEvents(change, after) : []),
        returnEvent(spoken, change),
      ];
    case "returnedUnacknowledged":
      return wasCalled ? [returnEvent(spoken, change)] : [];
    case "normal":
      return from === "acknowledged" && wasCalled ? [returnEvent(spoken, change)] : [];
    case "shelved":
    case "suppressedByDesign":
    case "outOfService":
      return activeStates.has(from) && wasCalled ? suppressEvents(change, after) : [];
    case "suspected":
      return [];
  }
}

/** News: neither the end of a suppression that hid an alarm which was told already, nor one that only grew graver. */
export function isRaise({ from, to }: AlarmChange, before: Alarm | null): boolean {
  if (to !== "unacknowledged" || from === to || from === "acknowledged") return false;
  return !(before?.state === "suppressedByDesign" && before.raised !== null); // told already, before the suppression
}

/** Whoever was told of these is asked for something, or knows that somebody is at it. */
const activeStates: ReadonlySet<AlarmChange["from"]> = new Set<AlarmChange["from"]>([
  "unacknowledged",
  "acknowledged",
  "latchedUnacknowledged",
]);

function raiseEvents(
  spoken: EventContext,
  change: AlarmChange,
  before: Alarm | null,
  after: Alarm | null,
): readonly AlarmEvent[] {
  if (!isRaise(change, before)) return resumeEvents(spoken, change, after);
  if (after?.state !== "unacknowledged" || after.notifiedPriority === "note") return [];
  const { at } = change;
  const corrects =
    before !== null &&
    "returnedAt" in before &&
    before.state !== "latchedAcknowledged" &&
    isSoon(before.returnedAt, at);
  return [{ ...eventText(spoken, change, after.notifiedPriority), kind: "raised", at, sameEpisode: corrects }];
}

const isSoon = (gone: AlarmChange["at"], back: AlarmChange["at"]): boolean => back < after(gone, sameEpisodeWithin);

/** It was told of before something hid it, and still nobody has answered: its call goes on, without a new sound. */
function resumeEvents(spoken: EventContext, change: AlarmChange, alarm: Alarm | null): readonly AlarmEvent[] {
  if (alarm?.state !== "unacknowledged" && alarm?.state !== "latchedUnacknowledged") return []; // over by now
  if (alarm.notifiedPriority === "note") return [];
  const said = eventText(spoken, { fault: change.fault, reason: reasonOf(alarm) }, alarm.notifiedPriority);
  return [{ ...said, kind: "raised", at: alarm.raisedAt, sameEpisode: true }];
}

/** What is gone by now is not told as if it were there. */
const reasonOf = ({ present, finding: { reason } }: Alarm): string =>
  present ? reason : `No longer so. Before that: ${reason}`;

function worsenEvents(
  spoken: EventContext,
  change: AlarmChange,
  called: Priority | null,
  alarm: Alarm | null,
): readonly AlarmEvent[] {
  if (alarm?.state !== "unacknowledged" || alarm.notifiedPriority === "note" || called === null) return [];
  if (priorityRank[alarm.notifiedPriority] >= priorityRank[called]) return []; // its fault only came or went
  const { raisedAt } = alarm;
  const common = eventText(spoken, change, alarm.notifiedPriority);
  if (called === "note") return [{ ...common, kind: "raised", at: raisedAt, sameEpisode: false }]; // nobody was told yet
  return [{ ...common, kind: "worsened", at: change.at, raisedAt }];
}

function acknowledgeEvents({ fault, at }: AlarmChange, alarm: Alarm | null): readonly AlarmEvent[] {
  if (alarm?.state !== "acknowledged" && alarm?.state !== "latchedAcknowledged") return [];
  return [{ kind: "acknowledged", fault, at, by: alarm.acknowledgedBy }];
}

function returnEvent({ settings }: EventContext, { fault, at }: AlarmChange): AlarmEvent {
  const { title, latched } = ruleOf(fault);
  const over = `No longer so: ${title}.`;
  // Of this alarm alone: what else stands at the feeder is another's to tell.
  if (!latched) return { kind: "returned", fault, at, title: titleOf(settings, `${title} is over`), body: over };
  const body = `${over} It may have done harm: look at the thing itself, then reset the alarm.`;
  return { kind: "returned", fault, at, title: titleOf(settings, "to be looked at"), body };
}

function suppressEvents({ fault, at }: AlarmChange, alarm: Alarm | null): readonly AlarmEvent[] {
  switch (alarm?.state) {
    case "shelved":
      return [{ kind: "suppressed", fault, at, text: `Shelved by ${alarm.shelvedBy}.` }];
    case "outOfService":
      return [{ kind: "suppressed", fault, at, text: `Taken out of service by ${alarm.outBy}: ${alarm.outReason}` }];
    case "suppressedByDesign":
      return [{ kind: "suppressed", fault, at, text: alarm.reason }];
    default:
      return [];
  }
}

/**
 * What waits for an answer, though nothing is remembered of whom it was told, since its call was lost. Better told once more
 * than never.
 */
export function standingAlarmEvents({
  alarms,
  settings,
}: Pick<FeederState, "alarms" | "settings">): readonly AlarmEvent[] {
  return faultKinds.flatMap((fault): AlarmEvent[] => {
    const alarm = alarms[fault];
    if (alarm?.state !== "unacknowledged" && alarm?.state !== "latchedUnacknowledged") return [];
    if (alarm.notifiedPriority === "note") return [];
    const said = eventText({ settings, explains: [] }, { fault, reason: reasonOf(alarm) }, alarm.notifiedPriority);
    return [{ ...said, kind: "raised", at: alarm.raisedAt, sameEpisode: true }];
  });
}

// --- words -----------------------------------------------------------------------------------------------------------

type FaultReason = Pick<AlarmChange, "fault" | "reason">;
const eventText = (
  { settings, explains }: EventContext,
  { fault, reason }: FaultReason,
  priority: NotifiedPriority,
) => {
  const rule = ruleOf(fault);
  return { fault, priority, title: titleOf(settings, rule.title), body: bodyOf(reason, explains, rule) };
};

const titleOf = (settings: EventContext["settings"], said: string): string => `${nameWithPractice(settings)}: ${said}`;

const bodyMax = 400; // longer is cut off on the phone anyway, and the whole push must fit 4 kB

/** What to do about it must not be cut off, nor what else is wrong by it: the reason gives way. */
function bodyOf(reason: string, explains: readonly FaultKind[], { advice }: FaultRule): string {
  const rest = explains.length === 0 ? advice : `${explainsText(explains)} ${advice}`;
  const room = bodyMax - rest.length - 1;
  const said = reason.length <= room ? reason : `${reason.slice(0, room - 1).trimEnd()}…`;
  return `${said} ${rest}`;
}

const namedMax = 3; // more would crowd out the reason
function explainsText(explains: readonly FaultKind[]): string {
  const titles = explains.slice(0, namedMax).map((kind) => ruleOf(kind).title);
  const more = explains.length - titles.length;
  return `It also stands for: ${titles.join(", ")}${more > 0 ? ` and ${more} more` : ""}.`;
}
