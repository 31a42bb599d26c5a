import type { AlarmPhase } from "../alarmStates.ts";
import type { FaultKind, Priority } from "../faults.ts";
import { before, between, hours, type Instant, milliseconds } from "../instant.ts";

/** What the alarms of one yard did over a span of days, as it was logged. */
export interface RatesHistory {
  readonly from: Instant; // a local midnight, or when the yard's record begins
  readonly to: Instant;
  readonly zone: string;
  readonly feeders: readonly WatchedFeeder[];
  /** Of all its feeders, in [from, to), in the order in which they came about. */
  readonly changes: readonly YardChange[];
  /** Alarms that stand at `to`, since some have stood longer than the log was read. */
  readonly standing: readonly StandingAlarm[];
  /** Pushes that rang, once a person however many phones it has; null where nobody kept that. */
  readonly rang: number | null;
}

export interface WatchedFeeder {
  readonly id: string;
  readonly name: string;
  readonly addedAt: Instant;
}

export interface YardChange {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly from: AlarmPhase;
  readonly to: AlarmPhase; // the same as `from` where only the fault came or went
  readonly at: Instant;
  /** Whether the fault itself was there afterwards, whatever its alarm did. */
  readonly present: boolean;
}

export interface StandingAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly raisedAt: Instant;
}

/** One alarm from its being raised (annunciated, as the standard says) to its return or its being set aside. */
export interface Raising {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly at: Instant; // may lie before the span
  /** When the fault itself first went away: an off-delay lets the alarm stand longer. Null while it is there. */
  readonly goneAt: Instant | null;
  readonly endedAt: Instant | null; // null: it stands still
  readonly acknowledgedAt: Instant | null;
}

/** The fault itself came, raised or not: chattering shows only here, since delays hide it from the alarms. */
export interface Coming {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly at: Instant;
}

export interface Lives {
  /** Alarms in the standard's sense, in the order in which they were raised; those that stood already come first. */
  readonly raisings: readonly Raising[];
  /** Notes ask for no act, so they are no alarms in the standard's sense and are counted apart. */
  readonly notes: readonly Raising[];
  readonly comings: readonly Coming[];
}

/** What each phase means here. A latched alarm stands though its fault is gone, and waits to be seen. */
const meaning = {
  normal: "gone",
  suspected: "waiting",
  unacknowledged: "standing",
  acknowledged: "standing",
  returnedUnacknowledged: "gone",
  latchedUnacknowledged: "standing",
  latchedAcknowledged: "standing",
  shelved: "aside",
  suppressedByDesign: "aside",
  outOfService: "aside",
} as const satisfies Record<AlarmPhase, "gone" | "waiting" | "standing" | "aside">;

const isLatched = (phase: AlarmPhase) => phase === "latchedUnacknowledged" || phase === "latchedAcknowledged";

/**
 * An alarm that went without an answer is forgotten after a day (alarms/lifeCycle.ts), which the log shows just as it shows a
 * late acknowledgement. A little less than that day was an answer.
 */
const answeredWithin = hours(23.9);

/** Follows each alarm of each feeder through the log. */
export function livesOf({ changes, standing, from }: Pick<RatesHistory, "changes" | "standing" | "from">): Lives {
  const followed = new Map<string, Followed>();
  const comings: Coming[] = [];
  for (const change of linked(changes)) {
    const key = keyOf(change);
    const alarm = followed.get(key) ?? beginning(change, from);
    followed.set(key, alarm);
    if (take(alarm, change) && change.priority !== "note")
      comings.push({ feeder: change.feeder, fault: change.fault, at: change.at });
  }
  const raisings = [...followed.values()].flatMap(({ past, open }) => (open === null ? past : [...past, open]));
  for (const alarm of standing) {
    const open = followed.get(keyOf(alarm))?.open ?? null;
    if (open === null) raisings.push({ ...alarm, at: alarm.raisedAt, ...stillThere });
    else if (open.at === unknownBefore(from)) open.at = alarm.raisedAt; // it stood before the log begins: now it is known since when
  }
  raisings.sort((one, other) => one.at - other.at);
  return {
    raisings: raisings.filter(({ priority }) => priority !== "note"),
    notes: raisings.filter(({ priority }) => priority === "note"),
    comings,
  };
}

export const keyOf = ({ feeder, fault }: { readonly feeder: string; readonly fault: FaultKind }): string =>
  `${feeder} ${fault}`;

type Open = { -readonly [field in keyof Raising]: Raising[field] };

interface Followed {
  readonly past: Open[];
  open: Open | null; // as it stands
  last: Open | null; // the newest that ended: it may still be acknowledged
  /** Set aside after it had been raised: what comes back then was told already. */
  toldBefore: boolean;
  present: boolean;
}

const stillThere = { goneAt: null, endedAt: null, acknowledgedAt: null };

/** Of what stood already it is only known that it was raised earlier: so it isn't counted among what was raised since. */
const unknownBefore = (from: Instant): Instant => before(from, milliseconds(1));

/** What must have been before the first change that is known. */
function beginning(change: YardChange, from: Instant): Followed {
  const was = meaning[change.from];
  const { feeder, fault, priority } = change;
  const open = was === "standing" ? { feeder, fault, priority, at: unknownBefore(from), ...stillThere } : null;
  // Where the first change tells only that the fault went, it was there before.
  const present = change.from === change.to ? !change.present : was === "standing" || was === "waiting";
  return { past: [], open, last: null, toldBefore: false, present };
}

/** @returns whether the fault itself came with it. */
function take(alarm: Followed, change: YardChange): boolean {
  const { at, from, to, feeder, fault, priority } = change;
  const came = presence(alarm, change);
  if (from === to) return came;
  const now = meaning[to];
  if (now === "standing" && alarm.open === null) {
    const again = alarm.toldBefore || isLatched(to) ? alarm.last : null;
    if (again === null) alarm.open = { feeder, fault, priority, at, ...stillThere };
    else {
      // The end of a suppression tells nobody a second time, nor does a latch that was shelved: the same alarm stands on.
      alarm.past.splice(alarm.past.indexOf(again), 1);
      alarm.open = { ...again, endedAt: null };
    }
  }
  if (answered(to) && alarm.open !== null) alarm.open.acknowledgedAt ??= at;
  alarm.toldBefore = to === "suppressedByDesign" && (alarm.open !== null || alarm.toldBefore);
  if (now !== "standing" && alarm.open !== null) {
    alarm.open.endedAt = at;
    alarm.past.push(alarm.open);
    alarm.last = alarm.open;
    alarm.open = null;
  } else if (from === "returnedUnacknowledged" && to === "normal" && alarm.last !== null) {
    const seen = alarm.last.endedAt !== null && between(alarm.last.endedAt, at) < answeredWithin;
    if (seen) alarm.last.acknowledgedAt ??= at;
  }
  return came;
}

const answered = (phase: AlarmPhase) => phase === "acknowledged" || phase === "latchedAcknowledged";

function presence(alarm: Followed, { present, at }: YardChange): boolean {
  const was = alarm.present;
  alarm.present = present;
  if (was && !present && alarm.open !== null) alarm.open.goneAt ??= at;
  return !was && present;
}

/**
 * Several arrows may be taken at one look, and a table gives rows of the same moment in any order: each alarm's arrows are put
 * head to tail again.
 */
function linked(changes: readonly YardChange[]): readonly YardChange[] {
  const phases = new Map<string, AlarmPhase>();
  const ordered: YardChange[] = [];
  for (let first = 0; first < changes.length; ) {
    let beyond = first + 1;
    while (beyond < changes.length && changes[beyond]?.at === changes[first]?.at) beyond += 1;
    const rest = changes.slice(first, beyond);
    first = beyond;
    while (rest.length > 0) {
      const next = rest.findIndex((change) => follows(change, phases, rest));
      const [change] = rest.splice(Math.max(0, next), 1);
      if (change === undefined) break;
      phases.set(keyOf(change), change.to);
      ordered.push(change);
    }
  }
  return ordered;
}

/** Whether this is the next arrow of its alarm: it begins where that stands, or where no other of this moment leads to. */
function follows(change: YardChange, phases: ReadonlyMap<string, AlarmPhase>, rest: readonly YardChange[]): boolean {
  const stands = phases.get(keyOf(change));
  if (stands !== undefined) return change.from === stands;
  return !rest.some((other) => other !== change && keyOf(other) === keyOf(change) && other.to === change.from);
}
