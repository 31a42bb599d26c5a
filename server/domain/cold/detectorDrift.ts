import { numberText, temperatureText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import { days, hours, type Instant } from "../instant.ts";
import type { Deposit, Readings } from "../report.ts";
import type { Celsius } from "../units.ts";
import {
  estimatedMissedShare,
  initialSignalModel,
  missedShare,
  type SignalModel,
  smallestAcceptedSignal,
  updateSignalModel,
} from "./detectorSignal.ts";

/**
 * Cold makes a detector weaker, and missed caps aren't reported. Two kinds of evidence show it:
 * - Signals. They come closer to the weakest one ever accepted, yet none is weaker: the rest must have been missed. Each deposit
 *   accepted where a share p should have been too weak adds ln 1/(1 − p); a far weaker one that was accepted disproves all.
 * - The slot's own beam. In frost more falls through it than the detector reports as metal, against what is usual in mild weather.
 */
export interface DetectorDrift {
  readonly signalModel: SignalModel;
  readonly lastTemperature: { readonly celsius: Celsius; readonly at: Instant } | null; // null until one was reported
  readonly signalEvidence: number; // log odds, summed as by Page (1954)
  readonly beamEvidence: number;
  /** What fell through the beam in mild weather, and how much of it wasn't reported as metal. */
  readonly mildFalls: { readonly count: number; readonly notMetal: number };
  /** The last days: two blocks of them, so that two to four days are at hand. */
  readonly recentFalls: FallCounts;
  readonly previousFalls: FallCounts;
  readonly found: { readonly at: Instant; readonly temperature: Celsius; readonly evidence: "signals" | "beam" } | null;
}

interface FallCounts {
  readonly block: number;
  readonly accepted: number;
  readonly expectedMisses: number; // how many should have been missed beside those accepted
  readonly notMetal: number; // through the beam, and no metal
}

const initialFallCounts = (block: number): FallCounts => ({ block, accepted: 0, expectedMisses: 0, notMetal: 0 });

export const initialDetectorDrift = (): DetectorDrift => ({
  signalModel: initialSignalModel(),
  lastTemperature: null,
  signalEvidence: 0,
  beamEvidence: 0,
  mildFalls: { count: 0, notMetal: 0 },
  recentFalls: initialFallCounts(0),
  previousFalls: initialFallCounts(0),
  found: null,
});

export function updateDetectorByDeposit(before: DetectorDrift, deposit: Deposit, at: Instant): DetectorDrift {
  // A coil follows the box within the hour; the temperature of an old backlog is unknown.
  if (before.lastTemperature === null || Math.abs(at - before.lastTemperature.at) > temperatureAgeMax) return before;
  const temperature = before.lastTemperature.celsius;
  const current = startBlock(before, at);
  // A deposit that doesn't say whether it was metal was paid for, so it was accepted.
  if (deposit.metal !== false) {
    return updateDriftFinding(updateByAccepted(current, deposit, temperature), temperature, at);
  }
  if (deposit.chute !== true) return current;
  const { recentFalls } = current;
  const byBeam = {
    ...updateBeamEvidence(current, temperature, true),
    recentFalls: { ...recentFalls, notMetal: recentFalls.notMetal + 1 },
  };
  return updateDriftFinding({ ...current, ...byBeam }, temperature, at);
}

function updateByAccepted(current: DetectorDrift, { signal, chute }: Deposit, temperature: Celsius): DetectorDrift {
  const { recentFalls } = current;
  const missedBySignal = signal === null ? 0 : missedShare(current.signalModel, temperature);
  const signalModel =
    signal === null ? current.signalModel : updateSignalModel(current.signalModel, signal, temperature);
  const missedNow =
    missedBySignal < missedShareToClear ? missedBySignal : estimatedMissedShare(current.signalModel, temperature);
  const signalEvidence =
    Math.min(
      evidenceMax,
      rescaledSignalEvidence(current, signalModel, temperature) - Math.log1p(-Math.min(missedNow, 0.8)),
    ) + 0;
  const expectedMisses = Math.min(missedNow / (1 - missedNow), expectedMissesMax);
  const { beamEvidence, mildFalls } = chute === true ? updateBeamEvidence(current, temperature, false) : current;
  return {
    signalModel,
    lastTemperature: current.lastTemperature,
    signalEvidence,
    beamEvidence,
    mildFalls,
    recentFalls: {
      block: recentFalls.block,
      accepted: recentFalls.accepted + 1,
      expectedMisses: recentFalls.expectedMisses + expectedMisses,
      notMetal: recentFalls.notMetal,
    },
    previousFalls: current.previousFalls,
    found: current.found,
  };
}

export function updateDetectorByReadings(before: DetectorDrift, { inside, air }: Readings, at: Instant): DetectorDrift {
  const celsius = inside ?? air;
  if (celsius === null) return before;
  return updateDriftFinding({ ...before, lastTemperature: { celsius, at } }, celsius, at);
}

export function detectorDriftFault(drift: DetectorDrift): Fault | null {
  const { found } = drift;
  if (found === null) return null;
  const { missing, fell, notMetal } = recentFallCounts(drift);
  const text = texts.cold.detectorDrift;
  const temperature = temperatureText(found.temperature);
  const evidence: Evidence[] = [
    { label: text.temperatureLabel, value: temperature, at: found.at },
    { label: text.notMetalLabel, value: numberText(notMetal), at: null },
  ];
  return {
    kind: "detectorDrifting",
    reason:
      found.evidence === "signals" ? text.bySignals(temperature, missing, fell) : text.sinceFreezing(missing, fell),
    evidence,
    confidence: null,
  };
}

// --- evidence --------------------------------------------------------------------------------------------------------

/**
 * A cap weaker than any before was accepted, so the detector's limit lies lower than estimated. The evidence is what it would
 * have been with that limit: nearly all of it where the cap was a little weaker, and nearly none where it was far weaker (the
 * shares are small, so the evidence is proportional to them).
 */
function rescaledSignalEvidence(
  { signalModel, signalEvidence }: DetectorDrift,
  now: SignalModel,
  temperature: Celsius,
): number {
  const [smallest, smallestNow] = [smallestAcceptedSignal(signalModel), smallestAcceptedSignal(now)];
  if (signalEvidence === 0 || smallest === null || smallestNow === null || smallestNow >= smallest)
    return signalEvidence;
  const shareBefore = missedShare(signalModel, temperature);
  const shareNow = missedShare({ ...signalModel, smallest: smallestNow }, temperature);
  return shareBefore > 0 ? signalEvidence * Math.min(1, shareNow / shareBefore) : 0;
}

/** Raised by enough of either evidence, cleared by less of it or by warmth. */
function updateDriftFinding(drift: DetectorDrift, temperature: Celsius, at: Instant): DetectorDrift {
  const { found, signalEvidence, beamEvidence } = drift;
  const limits = found === null ? limitsToRaise : limitsToClear;
  const isWeak = signalEvidence >= limits.evidence && missedShare(drift.signalModel, temperature) >= limits.missedShare;
  if (isWeak) return { ...drift, found: { at, temperature, evidence: "signals" } };
  const isMissedByBeam = beamEvidence >= limits.evidence && temperature < limits.celsius;
  if (isMissedByBeam) return { ...drift, found: { at, temperature, evidence: "beam" } };
  return found === null ? drift : { ...drift, found: null };
}

function updateBeamEvidence(
  { beamEvidence, mildFalls }: DetectorDrift,
  temperature: Celsius,
  notMetal: boolean,
): Pick<DetectorDrift, "beamEvidence" | "mildFalls"> {
  if (temperature > thawedAbove) {
    const keptShare = mildFalls.count < fallsRememberedMax ? 1 : 1 - 1 / fallsRememberedMax;
    const updatedFalls = {
      count: keptShare * mildFalls.count + 1,
      notMetal: keptShare * mildFalls.notMetal + (notMetal ? 1 : 0),
    };
    return { beamEvidence, mildFalls: updatedFalls };
  }
  if (temperature >= frostBelow || mildFalls.count < mildFallsMin) return { beamEvidence, mildFalls };
  const usualShare = mildNotMetalShare(mildFalls);
  const driftedShare = usualShare + beamMissedShare * (1 - usualShare);
  const logRatio = notMetal ? Math.log(driftedShare / usualShare) : Math.log1p(-beamMissedShare);
  return { beamEvidence: Math.min(evidenceMax, Math.max(0, beamEvidence + logRatio)), mildFalls };
}

/** Birds bring stones, too: one and a half falls of twenty are assumed before any was seen. */
const mildNotMetalShare = ({ count, notMetal }: DetectorDrift["mildFalls"]): number => (notMetal + 1.5) / (count + 20);

function startBlock(drift: DetectorDrift, at: Instant): DetectorDrift {
  const block = Math.floor(at / days(2));
  if (block <= drift.recentFalls.block) return drift; // of the same days, or late from a backlog
  const before = block === drift.recentFalls.block + 1 ? drift.recentFalls : initialFallCounts(block - 1);
  return { ...drift, recentFalls: initialFallCounts(block), previousFalls: before };
}

function recentFallCounts({ recentFalls, previousFalls, mildFalls }: DetectorDrift) {
  const accepted = recentFalls.accepted + previousFalls.accepted;
  const notMetal = recentFalls.notMetal + previousFalls.notMetal;
  const usualShare = mildNotMetalShare(mildFalls);
  const seenByBeam = notMetal - (usualShare / (1 - usualShare)) * accepted;
  const missing = Math.max(
    1,
    Math.round(Math.max(recentFalls.expectedMisses + previousFalls.expectedMisses, seenByBeam)),
  );
  return { missing, fell: accepted + missing, notMetal };
}

/**
 * The mean run to a false alarm by either evidence is at least e to this (Lorden 1971): 20,000 deposits, two years of thirty
 * a day, so that both together stay below one a feeder-year.
 */
const evidenceToRaise = Math.log(20_000);
/** So that some twenty good deposits clear it. */
const evidenceMax = evidenceToRaise + 3;
// More than one in ten is worth a visit; half of that is a deadband.
const missedShareToRaise = 0.1;
const missedShareToClear = 0.05;
const beamMissedShare = 0.2;
const expectedMissesMax = 9; // where nearly all are missed, one that is accepted counts for ten
const frostBelow = 0;
const thawedAbove = 3;
const mildFallsMin = 40;
const fallsRememberedMax = 400;
const temperatureAgeMax = hours(2);

const limitsToRaise = { evidence: evidenceToRaise, missedShare: missedShareToRaise, celsius: frostBelow };
/** The deadband. */
const limitsToClear = { evidence: evidenceToRaise / 2, missedShare: missedShareToClear, celsius: thawedAbove };
