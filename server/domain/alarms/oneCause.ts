import { type Fault, type FaultKind, faultKinds, type Priority, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import type { Duty } from "../settings.ts";
import { raisedOf } from "./alarm.ts";
import { graveness, type Suppression } from "./lifeCycle.ts";

/**
 * One cause, one alarm: what a fault explains is listed beside it and not told (ISA-18.2, "suppressed by design"), and the
 * cause speaks as gravely as the gravest that it explains. Which fault explains which is written in faults.ts. A feeder that
 * is paused, tried out or put away is at rest by design.
 */
export interface Situation {
  readonly there: ReadonlyMap<FaultKind, Fault>; // faults found at this look
  readonly alarms: FeederState["alarms"]; // as they stood before it
  readonly paused: boolean;
  readonly duty: Duty;
  readonly now: Instant;
}

/** Who speaks for whom at this look: only for kinds that are there, or have an alarm. */
export type Suppressions = ReadonlyMap<FaultKind, Suppression>;

export function suppressions(situation: Situation): Suppressions {
  const found = new Map<FaultKind, Suppression>();
  const { there, alarms } = situation;
  for (const kind of faultKinds) {
    if (!there.has(kind) && alarms[kind] === undefined) continue;
    const suppression = suppressionOf(kind, situation);
    if (suppression !== null) found.set(kind, suppression);
  }
  return found;
}

/** Why a fault raises no alarm of its own just now; null: it may. */
export function suppressionOf(kind: FaultKind, situation: Situation): Suppression | null {
  const { there, paused, duty } = situation;
  const speaker = silenceIn(there);
  const unseen = speaker !== null && ruleOf(kind).explainedBy.includes("feederSilent");
  const rest = restsBecause(kind, paused, duty);
  // A silence is told for all that can't be seen meanwhile; where nobody is told of it, the reason for that is the better word.
  const silence = unseen && restsBecause(speaker, paused, duty) === null;
  if (rest !== null && !silence) return { why: rest, explainedBy: null, unseen };
  const cause = unseen ? speaker : speakerFor(kind, situation);
  return cause === null ? null : { why: `Explained by: ${ruleOf(cause).title}.`, explainedBy: cause, unseen };
}

/** A feeder that isn't heard from tells nothing of itself, whether its silence is an alarm or a note. */
const silenceIn = (there: Situation["there"]): "feederSilent" | "reportsIrregular" | null =>
  there.has("feederSilent") ? "feederSilent" : there.has("reportsIrregular") ? "reportsIrregular" : null;

/** What an alarm of this kind stands for besides itself. */
export function explainedNow(kind: FaultKind, hidden: Suppressions, { there, alarms }: Situation): FaultKind[] {
  if (hidden.size === 0) return [];
  return [...hidden].flatMap(([other, { explainedBy }]) => {
    const alarm = alarms[other];
    if (explainedBy !== kind || isSetAside(alarm)) return [];
    return there.has(other) || (alarm !== undefined && raisedOf(alarm) !== null) ? [other] : [];
  });
}

/** The gravest of its own rule and of what it explains that is there now. */
export function priorityNow(kind: FaultKind, explained: readonly FaultKind[], { there }: Situation): Priority {
  let gravest = ruleOf(kind).priority;
  for (const other of explained) {
    const { priority } = ruleOf(other);
    if (there.has(other) && graveness[priority] < graveness[gravest]) gravest = priority;
  }
  return gravest;
}

/** The fault whose alarm speaks for this one: its cause, or the cause of its cause; null where it must speak for itself. */
function speakerFor(kind: FaultKind, situation: Situation): FaultKind | null {
  for (const cause of ruleOf(kind).explainedBy) {
    if (!situation.there.has(cause) || situation.alarms[cause]?.phase === "outOfService") continue; // it isn't trusted
    const speaker = speakerFor(cause, situation) ?? cause;
    if (maySpeak(speaker, kind, situation)) return speaker;
  }
  return null;
}

function maySpeak(speaker: FaultKind, kind: FaultKind, { alarms, paused, duty, now }: Situation): boolean {
  // A cause that is at rest itself is told to nobody, so it must not silence another.
  if (restsBecause(speaker, paused, duty) !== null) return false;
  const alarm = alarms[speaker];
  if (alarm?.phase !== "shelved" || now >= alarm.shelvedUntil) return true;
  // Whoever put a cause aside knew what follows from it, but not that something graver would.
  return graveness[ruleOf(kind).priority] >= graveness[ruleOf(speaker).priority];
}

const isSetAside = (alarm: FeederState["alarms"][FaultKind]): boolean =>
  alarm?.phase === "shelved" || alarm?.phase === "outOfService";

// --- at rest by design -----------------------------------------------------------------------------------------------

function restsBecause(kind: FaultKind, paused: boolean, duty: Duty): string | null {
  if (tellsOfPause.has(kind)) return null; // whoever asked for a stop must hear that it did not arrive, or isn't kept
  if (duty === "onBench") return "The feeder is on the bench.";
  if (duty === "putAway" && !hurtsWhilePutAway.has(kind)) return "The feeder is put away.";
  return paused && restsWhilePaused.has(kind) ? "The feeder is paused." : null;
}

const tellsOfPause: ReadonlySet<FaultKind> = new Set<FaultKind>([
  "feedsThoughPaused",
  "pauseContradicted",
  "pauseOverdue",
]);

/** A battery freezes in a shed as well as in a garden, and charging it there does the same harm. */
const hurtsWhilePutAway: ReadonlySet<FaultKind> = new Set<FaultKind>(["batteryFreezing", "chargingInFrost"]);

/**
 * What can't be told of a feeder that gives nothing on purpose and whose lid may be open: it neither jams nor owes. Its cold,
 * its battery and its store go on.
 */
const restsWhilePaused: ReadonlySet<FaultKind> = new Set<FaultKind>([
  "motorNotTurning",
  "motorStalled",
  "foodOut", // its advice is to refill or pause: done
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "depositUnpaid",
  "chuteBlind",
  "buttonSilent",
  "detectorSilent",
  "perchSilent",
  "scaleSilent",
]);
