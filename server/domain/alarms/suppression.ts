import { texts } from "../../text/index.ts";
import { type Fault, type FaultKind, faultKinds, type Priority, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import type { Placement } from "../settings.ts";
import { raiseOf } from "./alarm.ts";
import { priorityRank, type Suppression } from "./alarmTransitions.ts";

/**
 * One cause, one alarm: the faults that a fault explains are listed with it and not notified (ISA-18.2, "suppressed by design"), and
 * the cause takes the highest priority of them. Which fault explains which is in faults.ts. A feeder that is paused, in the
 * workshop or in storage is at rest by design.
 */
export interface FaultSituation {
  readonly faults: ReadonlyMap<FaultKind, Fault>; // faults found at this check
  readonly alarms: FeederState["alarms"]; // as they were before it
  readonly paused: boolean;
  readonly placement: Placement | "benchRun";
  readonly now: Instant;
}

/** The suppressions at this check: only of faults that are present or have an alarm. */
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

/** Why a fault raises no alarm of its own now; null: it may. */
export function suppressionOf(kind: FaultKind, situation: FaultSituation): Suppression | null {
  const { faults, paused, placement } = situation;
  const silence = silenceAmong(faults);
  const isUnobservable = silence !== null && ruleOf(kind).explainedBy.includes("feederSilent");
  const rest = designSuppressionReason(kind, paused, placement);
  // Missing reports explain all that can't be observed meanwhile, unless they are suppressed themselves.
  const explainsBySilence = isUnobservable && designSuppressionReason(silence, paused, placement) === null;
  if (rest !== null && !explainsBySilence) return { reason: rest, explainedBy: null, isUnobservable };
  const cause = isUnobservable ? silence : causeOf(kind, situation);
  return cause === null
    ? null
    : { reason: texts.alarms.causedBy(ruleOf(cause).title), explainedBy: cause, isUnobservable };
}

/** Without reports nothing is known of a feeder, whether that is an alarm or a note. */
const silenceAmong = (faults: FaultSituation["faults"]): "feederSilent" | "reportsIrregular" | null =>
  faults.has("feederSilent") ? "feederSilent" : faults.has("reportsIrregular") ? "reportsIrregular" : null;

/** The faults that an alarm of this kind includes besides its own. */
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

/** The highest priority of its own rule and of the present faults that it explains. */
export function currentPriority(
  kind: FaultKind,
  explained: readonly FaultKind[],
  { faults }: FaultSituation,
): Priority {
  let highest = ruleOf(kind).priority;
  for (const other of explained) {
    const { priority } = ruleOf(other);
    if (faults.has(other) && priorityRank[priority] < priorityRank[highest]) highest = priority;
  }
  return highest;
}

/** The fault whose alarm covers this one: its cause, or the cause of its cause; null where it needs its own alarm. */
function causeOf(kind: FaultKind, situation: FaultSituation): FaultKind | null {
  for (const cause of ruleOf(kind).explainedBy) {
    if (!situation.faults.has(cause) || situation.alarms[cause]?.state === "outOfService") continue; // out of service: not trusted
    const root = causeOf(cause, situation) ?? cause;
    if (mayExplain(root, kind, situation)) return root;
  }
  return null;
}

function mayExplain(cause: FaultKind, kind: FaultKind, { alarms, paused, placement, now }: FaultSituation): boolean {
  // Nobody is notified of a cause that is suppressed itself, so it must not suppress another.
  if (designSuppressionReason(cause, paused, placement) !== null) return false;
  const alarm = alarms[cause];
  if (alarm?.state !== "shelved" || now >= alarm.shelvedUntil) return true;
  // Whoever shelved a cause knew its consequences, but not one of a higher priority.
  return priorityRank[ruleOf(kind).priority] >= priorityRank[ruleOf(cause).priority];
}

const isShelvedOrOut = (alarm: FeederState["alarms"][FaultKind]): boolean =>
  alarm?.state === "shelved" || alarm?.state === "outOfService";

// --- at rest by design -----------------------------------------------------------------------------------------------

function designSuppressionReason(
  kind: FaultKind,
  paused: boolean,
  placement: FaultSituation["placement"],
): string | null {
  if (pauseFaultKinds.has(kind)) return null; // whoever requested a pause must know that it did not arrive, or is not followed
  if (placement === "onBench") return texts.alarms.inWorkshop;
  if (placement === "benchRun" && suppressedDuringBenchRun.has(kind)) return texts.benchRun.suppressed;
  if (placement === "putAway" && !raisedWhilePutAway.has(kind)) return texts.alarms.inStorage;
  return paused && suppressedWhilePaused.has(kind) ? texts.alarms.paused : null;
}

const pauseFaultKinds: ReadonlySet<FaultKind> = new Set<FaultKind>([
  "feedsThoughPaused",
  "pauseContradicted",
  "pauseOverdue",
]);

/** A battery freezes in a shed as in a garden, and charging it there does the same damage. */
const raisedWhilePutAway: ReadonlySet<FaultKind> = new Set<FaultKind>(["batteryFreezing", "chargingInFrost"]);

/**
 * What can't be judged of a feeder that gives no food on purpose and whose lid may be open. Faults of cold, battery and food store
 * are still raised.
 */
const suppressedWhilePaused: ReadonlySet<FaultKind> = new Set<FaultKind>([
  "motorNotTurning",
  "motorStalled",
  "foodOut", // its advice is to refill or pause: done
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "depositUnpaid",
  "paymentUnclear",
  "chuteBlind",
  "buttonSilent",
  "detectorSilent",
  "perchSilent",
  "scaleSilent",
]);

/** What the run itself may cause, and what its own verdict tells. Power, cold and missing reports still raise alarms. */
const suppressedDuringBenchRun: ReadonlySet<FaultKind> = new Set<FaultKind>([
  ...suppressedWhilePaused,
  "foodLow", // little food is in the hopper for a run
  "sensorChattering", // a keeper presses faster than birds do
]);
