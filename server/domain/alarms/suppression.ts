import { type Fault, type FaultKind, faultKinds, type Priority, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import type { Placement } from "../settings.ts";
import { raiseOf } from "./alarm.ts";
import { priorityRank, type Suppression } from "./alarmTransitions.ts";

/**
 * One cause, one alarm: what a fault explains is listed beside it and not told (ISA-18.2, "suppressed by design"), and the
 * cause speaks as gravely as the gravest that it explains. Which fault explains which is written in faults.ts. A feeder that
 * is paused, tried out or put away is at rest by design.
 */
export interface FaultSituation {
  readonly faults: ReadonlyMap<FaultKind, Fault>; // faults found at this look
  readonly alarms: FeederState["alarms"]; // as they stood before it
  readonly paused: boolean;
  readonly placement: Placement;
  readonly now: Instant;
}

/** Who speaks for whom at this look: only for kinds that are there, or have an alarm. */
export type Suppressions = ReadonlyMap<FaultKind, Suppression>;

export function suppressions(situation: FaultSituation): Suppressions {
  const found = new Map<FaultKind, Suppression>();
  const { faults, alarms } = situation;
  for (const kind of faultKinds) {
    if (!faults.has(kind) && alarms[kind] === undefined) continue;
    const suppression = suppressionOf(kind, situation);
    if (suppression !== null) found.set(kind, suppression);
  }
  return found;
}

/** Why a fault raises no alarm of its own just now; null: it may. */
export function suppressionOf(kind: FaultKind, situation: FaultSituation): Suppression | null {
  const { faults, paused, placement } = situation;
  const speaker = silenceAmong(faults);
  const unseen = speaker !== null && ruleOf(kind).explainedBy.includes("feederSilent");
  const rest = designSuppressionReason(kind, paused, placement);
  // A silence is told for all that can't be seen meanwhile; where nobody is told of it, the reason for that is the better word.
  const silence = unseen && designSuppressionReason(speaker, paused, placement) === null;
  if (rest !== null && !silence) return { reason: rest, explainedBy: null, isUnobservable: unseen };
  const cause = unseen ? speaker : causeOf(kind, situation);
  return cause === null
    ? null
    : { reason: `Explained by: ${ruleOf(cause).title}.`, explainedBy: cause, isUnobservable: unseen };
}

/** A feeder that isn't heard from tells nothing of itself, whether its silence is an alarm or a note. */
const silenceAmong = (there: FaultSituation["faults"]): "feederSilent" | "reportsIrregular" | null =>
  there.has("feederSilent") ? "feederSilent" : there.has("reportsIrregular") ? "reportsIrregular" : null;

/** What an alarm of this kind stands for besides itself. */
export function explainedFaults(
  kind: FaultKind,
  hidden: Suppressions,
  { faults, alarms }: FaultSituation,
): FaultKind[] {
  if (hidden.size === 0) return [];
  return [...hidden].flatMap(([other, { explainedBy }]) => {
    const alarm = alarms[other];
    if (explainedBy !== kind || isShelvedOrOut(alarm)) return [];
    return faults.has(other) || (alarm !== undefined && raiseOf(alarm) !== null) ? [other] : [];
  });
}

/** The gravest of its own rule and of what it explains that is there now. */
export function currentPriority(
  kind: FaultKind,
  explained: readonly FaultKind[],
  { faults }: FaultSituation,
): Priority {
  let gravest = ruleOf(kind).priority;
  for (const other of explained) {
    const { priority } = ruleOf(other);
    if (faults.has(other) && priorityRank[priority] < priorityRank[gravest]) gravest = priority;
  }
  return gravest;
}

/** The fault whose alarm speaks for this one: its cause, or the cause of its cause; null where it must speak for itself. */
function causeOf(kind: FaultKind, situation: FaultSituation): FaultKind | null {
  for (const cause of ruleOf(kind).explainedBy) {
    if (!situation.faults.has(cause) || situation.alarms[cause]?.state === "outOfService") continue; // it isn't trusted
    const speaker = causeOf(cause, situation) ?? cause;
    if (mayExplain(speaker, kind, situation)) return speaker;
  }
  return null;
}

function mayExplain(speaker: FaultKind, kind: FaultKind, { alarms, paused, placement, now }: FaultSituation): boolean {
  // A cause that is at rest itself is told to nobody, so it must not silence another.
  if (designSuppressionReason(speaker, paused, placement) !== null) return false;
  const alarm = alarms[speaker];
  if (alarm?.state !== "shelved" || now >= alarm.shelvedUntil) return true;
  // Whoever put a cause aside knew what follows from it, but not that something graver would.
  return priorityRank[ruleOf(kind).priority] >= priorityRank[ruleOf(speaker).priority];
}

const isShelvedOrOut = (alarm: FeederState["alarms"][FaultKind]): boolean =>
  alarm?.state === "shelved" || alarm?.state === "outOfService";

// --- at rest by design -----------------------------------------------------------------------------------------------

function designSuppressionReason(kind: FaultKind, paused: boolean, duty: Placement): string | null {
  if (pauseFaultKinds.has(kind)) return null; // whoever asked for a stop must hear that it did not arrive, or isn't kept
  if (duty === "onBench") return "The feeder is on the bench.";
  if (duty === "putAway" && !raisedWhilePutAway.has(kind)) return "The feeder is put away.";
  return paused && suppressedWhilePaused.has(kind) ? "The feeder is paused." : null;
}

const pauseFaultKinds: ReadonlySet<FaultKind> = new Set<FaultKind>([
  "feedsThoughPaused",
  "pauseContradicted",
  "pauseOverdue",
]);

/** A battery freezes in a shed as well as in a garden, and charging it there does the same harm. */
const raisedWhilePutAway: ReadonlySet<FaultKind> = new Set<FaultKind>(["batteryFreezing", "chargingInFrost"]);

/**
 * What can't be told of a feeder that gives nothing on purpose and whose lid may be open: it neither jams nor owes. Its cold,
 * its battery and its store go on.
 */
const suppressedWhilePaused: ReadonlySet<FaultKind> = new Set<FaultKind>([
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
