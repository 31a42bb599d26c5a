import type { AlarmChange } from "../alarmStates.ts";
import { type FaultKind, type FaultRule, faultKinds, type Priority, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { after, minutes } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import type { CallPriority, CallWord } from "../telling/call.ts";
import { spokenName } from "../telling/spokenName.ts";
import { type Alarm, raisedOf } from "./alarm.ts";
import { graveness } from "./lifeCycle.ts";

/** Whose alarm it is, and what it stands for besides itself just now. */
export interface Spoken {
  readonly settings: Pick<FeederSettings, "name" | "practice">;
  readonly explains: readonly FaultKind[];
}

/** A fault that comes back this soon after it went, still unacknowledged, corrects the phone's screen without a sound. */
const sameEpisode = minutes(60);

/**
 * What people are to hear of one step of an alarm's life. Raised and worsened; acknowledged; returned to normal; set aside:
 * and nothing of a fault that only came or went. A `note` never leaves the digest. The end of a shelving raises anew where
 * the fault is there; the end of a suppression wakes nobody, but what still waits for an answer is put back on the screens.
 *
 * What is latched and unacknowledged goes on asking when its fault is gone, since somebody must look all the same. That it is
 * gone is told once somebody has answered.
 */
export function callWords(
  spoken: Spoken,
  changes: readonly AlarmChange[],
  before: Alarm | null,
  after: Alarm | null,
): readonly CallWord[] {
  return changes.flatMap((change) => wordsOf(spoken, change, before, after));
}

function wordsOf(spoken: Spoken, change: AlarmChange, before: Alarm | null, after: Alarm | null): readonly CallWord[] {
  const { from, to } = change;
  if (from === to && to !== "unacknowledged") return []; // the fault came or went, and that is all
  const was = before === null ? null : raisedOf(before);
  const wasCalled = was !== null && was.called !== "note";
  switch (to) {
    case "unacknowledged":
      return from === to || from === "acknowledged"
        ? worsened(spoken, change, was?.called ?? null, after)
        : raised(spoken, change, before, after);
    case "latchedUnacknowledged":
      return from === "unacknowledged" ? [] : putBack(spoken, change, after);
    case "acknowledged":
      return from === "unacknowledged" && wasCalled ? acknowledged(change, after) : [];
    case "latchedAcknowledged":
      if (!wasCalled || from === "shelved" || from === "outOfService") return [];
      return [...(from === "latchedUnacknowledged" ? acknowledged(change, after) : []), returned(spoken, change)];
    case "returnedUnacknowledged":
      return wasCalled ? [returned(spoken, change)] : [];
    case "normal":
      return from === "acknowledged" && wasCalled ? [returned(spoken, change)] : [];
    case "shelved":
    case "suppressedByDesign":
    case "outOfService":
      return asks.has(from) && wasCalled ? setAside(change, after) : [];
    case "suspected":
      return [];
  }
}

/** News: neither the end of a suppression that hid an alarm which was told already, nor one that only grew graver. */
export function isRaise({ from, to }: AlarmChange, before: Alarm | null): boolean {
  if (to !== "unacknowledged" || from === to || from === "acknowledged") return false;
  return !(before?.phase === "suppressedByDesign" && before.raised !== null); // told already, before the suppression
}

/** Whoever was told of these is asked for something, or knows that somebody is at it. */
const asks: ReadonlySet<AlarmChange["from"]> = new Set<AlarmChange["from"]>([
  "unacknowledged",
  "acknowledged",
  "latchedUnacknowledged",
]);

function raised(spoken: Spoken, change: AlarmChange, before: Alarm | null, after: Alarm | null): readonly CallWord[] {
  if (!isRaise(change, before)) return putBack(spoken, change, after);
  if (after?.phase !== "unacknowledged" || after.called === "note") return [];
  const { at } = change;
  const corrects =
    before !== null &&
    "returnedAt" in before &&
    before.phase !== "latchedAcknowledged" &&
    isSoon(before.returnedAt, at);
  return [{ ...words(spoken, change, after.called), kind: "raised", at, sameEpisode: corrects }];
}

const isSoon = (gone: AlarmChange["at"], back: AlarmChange["at"]): boolean => back < after(gone, sameEpisode);

/** It was told of before something hid it, and still nobody has answered: its call goes on, without a new sound. */
function putBack(spoken: Spoken, change: AlarmChange, alarm: Alarm | null): readonly CallWord[] {
  if (alarm?.phase !== "unacknowledged" && alarm?.phase !== "latchedUnacknowledged") return []; // over by now
  if (alarm.called === "note") return [];
  const said = words(spoken, { fault: change.fault, reason: reasonOf(alarm) }, alarm.called);
  return [{ ...said, kind: "raised", at: alarm.raisedAt, sameEpisode: true }];
}

/** What is gone by now is not told as if it were there. */
const reasonOf = ({ present, finding: { reason } }: Alarm): string =>
  present ? reason : `No longer so. Before that: ${reason}`;

function worsened(
  spoken: Spoken,
  change: AlarmChange,
  called: Priority | null,
  alarm: Alarm | null,
): readonly CallWord[] {
  if (alarm?.phase !== "unacknowledged" || alarm.called === "note" || called === null) return [];
  if (graveness[alarm.called] >= graveness[called]) return []; // its fault only came or went
  const { raisedAt } = alarm;
  const common = words(spoken, change, alarm.called);
  if (called === "note") return [{ ...common, kind: "raised", at: raisedAt, sameEpisode: false }]; // nobody was told yet
  return [{ ...common, kind: "worsened", at: change.at, raisedAt }];
}

function acknowledged({ fault, at }: AlarmChange, alarm: Alarm | null): readonly CallWord[] {
  if (alarm?.phase !== "acknowledged" && alarm?.phase !== "latchedAcknowledged") return [];
  return [{ kind: "acknowledged", fault, at, by: alarm.acknowledgedBy }];
}

function returned({ settings }: Spoken, { fault, at }: AlarmChange): CallWord {
  const { title, latched } = ruleOf(fault);
  const over = `No longer so: ${title}.`;
  // Of this alarm alone: what else stands at the feeder is another's to tell.
  if (!latched) return { kind: "returned", fault, at, title: titleOf(settings, `${title} is over`), body: over };
  const body = `${over} It may have done harm: look at the thing itself, then reset the alarm.`;
  return { kind: "returned", fault, at, title: titleOf(settings, "to be looked at"), body };
}

function setAside({ fault, at }: AlarmChange, alarm: Alarm | null): readonly CallWord[] {
  switch (alarm?.phase) {
    case "shelved":
      return [{ kind: "setAside", fault, at, words: `Shelved by ${alarm.shelvedBy}.` }];
    case "outOfService":
      return [{ kind: "setAside", fault, at, words: `Taken out of service by ${alarm.outBy}: ${alarm.outWhy}` }];
    case "suppressedByDesign":
      return [{ kind: "setAside", fault, at, words: alarm.why }];
    default:
      return [];
  }
}

/**
 * What waits for an answer, though nothing is remembered of whom it was told, since its call was lost. Better told once more
 * than never.
 */
export function standingWords({ alarms, settings }: Pick<FeederState, "alarms" | "settings">): readonly CallWord[] {
  return faultKinds.flatMap((fault): CallWord[] => {
    const alarm = alarms[fault];
    if (alarm?.phase !== "unacknowledged" && alarm?.phase !== "latchedUnacknowledged") return [];
    if (alarm.called === "note") return [];
    const said = words({ settings, explains: [] }, { fault, reason: reasonOf(alarm) }, alarm.called);
    return [{ ...said, kind: "raised", at: alarm.raisedAt, sameEpisode: true }];
  });
}

// --- words -----------------------------------------------------------------------------------------------------------

type Said = Pick<AlarmChange, "fault" | "reason">;
const words = ({ settings, explains }: Spoken, { fault, reason }: Said, priority: CallPriority) => {
  const rule = ruleOf(fault);
  return { fault, priority, title: titleOf(settings, rule.title), body: bodyOf(reason, explains, rule) };
};

const titleOf = (settings: Spoken["settings"], said: string): string => `${spokenName(settings)}: ${said}`;

const bodyMax = 400; // longer is cut off on the phone anyway, and the whole push must fit 4 kB

/** What to do about it must not be cut off, nor what else is wrong by it: the reason gives way. */
function bodyOf(reason: string, explains: readonly FaultKind[], { act }: FaultRule): string {
  const rest = explains.length === 0 ? act : `${alsoWords(explains)} ${act}`;
  const room = bodyMax - rest.length - 1;
  const said = reason.length <= room ? reason : `${reason.slice(0, room - 1).trimEnd()}…`;
  return `${said} ${rest}`;
}

const named = 3; // more would crowd out the reason
function alsoWords(explains: readonly FaultKind[]): string {
  const titles = explains.slice(0, named).map((kind) => ruleOf(kind).title);
  const more = explains.length - titles.length;
  return `It also stands for: ${titles.join(", ")}${more > 0 ? ` and ${more} more` : ""}.`;
}
