import type { Evidence, Fault } from "../faults.ts";
import { days, hours, type Instant } from "../instant.ts";
import type { Deposit, Readings } from "../report.ts";
import type { Celsius } from "../units.ts";
import {
  estimatedMissedShare,
  initialSignalModel,
  missedShare,
  relativeCoilResistance,
  type SignalModel,
  smallestAcceptedSignal,
  updateSignalModel,
} from "./detectorSignal.ts";
import { temperatureText } from "./temperatureText.ts";

/**
 * A detector that cold makes weaker hears fewer caps, and nobody hears of those. Two things give it away:
 * - Signals. They come ever closer to the weakest that was ever taken, yet none is weaker: the rest must have been missed.
 *   Each deposit taken where a share p should have been too weak weighs ln 1/(1 − p); one far weaker that was taken refutes all.
 * - The slot's own beam. In frost more falls through it than the detector calls metal, against what is usual in mild weather.
 */
export interface DetectorDrift {
  readonly signalModel: SignalModel;
  readonly lastTemperature: { readonly celsius: Celsius; readonly at: Instant } | null; // null until one was said
  readonly signalEvidence: number; // log odds, summed as by Page (1954)
  readonly beamEvidence: number;
  /** What fell through the beam in mild weather, and how much of it was called no metal. */
  readonly mildFalls: { readonly count: number; readonly notMetal: number };
  /** The last days: two blocks of them, so that two to four days are at hand. */
  readonly recentFalls: FallCounts;
  readonly previousFalls: FallCounts;
  readonly found: { readonly at: Instant; readonly temperature: Celsius; readonly evidence: "signals" | "beam" } | null;
}

interface FallCounts {
  readonly block: number;
  readonly accepted: number;
  readonly expectedMisses: number; // how many should have been missed beside those taken
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

export function updateDetectorByDeposit(
  before: DetectorDrift,
  { metal, signal, chute }: Deposit,
  at: Instant,
): DetectorDrift {
  // A coil follows the box within the hour; an old backlog fell in a cold that nobody told of.
  if (before.lastTemperature === null || Math.abs(at - before.lastTemperature.at) > temperatureHolds) return before;
  const temperature = before.lastTemperature.celsius;
  const turned = startBlock(before, at);
  const { recentFalls } = turned;
  if (metal === false) {
    if (chute !== true) return turned;
    const beam = {
      ...updateBeamEvidence(turned, temperature, true),
      recentFalls: { ...recentFalls, notMetal: recentFalls.notMetal + 1 },
    };
    return updateDriftFinding({ ...turned, ...beam }, temperature, at);
  }
  // Without a word on metal it was paid for, so it was taken.
  const share = signal === null ? 0 : missedShare(turned.signalModel, temperature);
  const signals = signal === null ? turned.signalModel : updateSignalModel(turned.signalModel, signal, temperature);
  const missed = share < missesUntil ? share : estimatedMissedShare(turned.signalModel, temperature);
  const bySignals =
    Math.min(evidenceMax, rescaledSignalEvidence(turned, signals, temperature) - Math.log1p(-Math.min(missed, 0.8))) +
    0;
  const missedBeside = Math.min(missed / (1 - missed), tooWeakMax);
  return updateDriftFinding(
    {
      ...turned,
      ...(chute === true ? updateBeamEvidence(turned, temperature, false) : {}),
      signalModel: signals,
      signalEvidence: bySignals,
      recentFalls: {
        ...recentFalls,
        accepted: recentFalls.accepted + 1,
        expectedMisses: recentFalls.expectedMisses + missedBeside,
      },
    },
    temperature,
    at,
  );
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
  const cold = temperatureText(found.temperature);
  const coil = Math.round(100 * (relativeCoilResistance(found.temperature) - 1));
  const evidence: Evidence[] = [
    { label: "temperature at the detector", value: cold, at: found.at },
    {
      label: "estimated share missed now",
      value: `${percent(estimatedMissedShare(drift.signalModel, found.temperature))} %`,
      at: null,
    },
    { label: "through the slot, not called metal, last days", value: String(notMetal), at: null },
    { label: "copper of a coil, against 20 °C", value: `${coil < 0 ? "−" : "+"}${Math.abs(coil)} %`, at: null },
  ];
  const why =
    found.evidence === "signals"
      ? `At ${cold} the detector hears caps only weakly`
      : `Since it froze more falls through the slot than the detector calls metal`;
  return {
    kind: "detectorDrifting",
    reason: `${why}: it may be missing about ${missing} of the ${fell} deposits of the last days.`,
    evidence,
    confidence: null,
  };
}

// --- evidence --------------------------------------------------------------------------------------------------------

/**
 * A cap weaker than any before was taken all the same, so the detector's limit lies lower than was thought. The evidence is
 * what it would have been with that limit, which is nearly all of it where the cap was a hair weaker, and nearly none where
 * it was far weaker (the shares are small, so that evidence goes with them).
 */
function rescaledSignalEvidence(
  { signalModel, signalEvidence }: DetectorDrift,
  now: SignalModel,
  temperature: Celsius,
): number {
  const [least, leastNow] = [smallestAcceptedSignal(signalModel), smallestAcceptedSignal(now)];
  if (signalEvidence === 0 || least === null || leastNow === null || leastNow >= least) return signalEvidence;
  const shareBefore = missedShare(signalModel, temperature);
  const shareNow = missedShare({ ...signalModel, smallest: leastNow }, temperature);
  return shareBefore > 0 ? signalEvidence * Math.min(1, shareNow / shareBefore) : 0;
}

/** Raised by enough of either evidence, cleared by less of it or by warmth. */
function updateDriftFinding(drift: DetectorDrift, temperature: Celsius, at: Instant): DetectorDrift {
  const { found, signalEvidence, beamEvidence } = drift;
  if (found === null && signalEvidence < evidenceToRaise && beamEvidence < evidenceToRaise) return drift;
  const enough = found === null ? evidenceToRaise : evidenceToRaise / 2;
  const weak =
    signalEvidence >= enough && missedShare(drift.signalModel, temperature) >= (found ? missesUntil : missesFrom);
  const unheard = beamEvidence >= enough && temperature < (found ? thawedFrom : frostBelow);
  if (weak || unheard) return { ...drift, found: { at, temperature, evidence: weak ? "signals" : "beam" } };
  return found === null ? drift : { ...drift, found: null };
}

function updateBeamEvidence(
  { beamEvidence, mildFalls }: DetectorDrift,
  temperature: Celsius,
  notMetal: boolean,
): Pick<DetectorDrift, "beamEvidence" | "mildFalls"> {
  if (temperature > thawedFrom) {
    const fade = mildFalls.count < rememberedFalls ? 1 : 1 - 1 / rememberedFalls;
    const learnt = { count: fade * mildFalls.count + 1, notMetal: fade * mildFalls.notMetal + (notMetal ? 1 : 0) };
    return { beamEvidence, mildFalls: learnt };
  }
  if (temperature >= frostBelow || mildFalls.count < mildFallsMin) return { beamEvidence, mildFalls };
  const usual = mildNotMetalShare(mildFalls);
  const drifted = usual + beamMisses * (1 - usual);
  const weighs = notMetal ? Math.log(drifted / usual) : Math.log1p(-beamMisses);
  return { beamEvidence: Math.min(evidenceMax, Math.max(0, beamEvidence + weighs)), mildFalls };
}

/** Birds bring stones, too. One and a half falls of twenty are taken for granted before any was seen. */
const mildNotMetalShare = ({ count, notMetal }: DetectorDrift["mildFalls"]): number => (notMetal + 1.5) / (count + 20);

function startBlock(drift: DetectorDrift, at: Instant): DetectorDrift {
  const block = Math.floor(at / days(2));
  if (block <= drift.recentFalls.block) return drift; // of the same days, or late out of a backlog
  const before = block === drift.recentFalls.block + 1 ? drift.recentFalls : initialFallCounts(block - 1);
  return { ...drift, recentFalls: initialFallCounts(block), previousFalls: before };
}

function recentFallCounts({ recentFalls, previousFalls, mildFalls }: DetectorDrift) {
  const taken = recentFalls.accepted + previousFalls.accepted;
  const notMetal = recentFalls.notMetal + previousFalls.notMetal;
  const usual = mildNotMetalShare(mildFalls);
  const seenByBeam = notMetal - (usual / (1 - usual)) * taken;
  const missing = Math.max(
    1,
    Math.round(Math.max(recentFalls.expectedMisses + previousFalls.expectedMisses, seenByBeam)),
  );
  return { missing, fell: taken + missing, notMetal };
}

const percent = (share: number): number => Math.round(100 * share);

/**
 * The mean run to a false alarm by either evidence is at least e to this (Lorden 1971): 20,000 deposits, two years of thirty
 * a day, so that both together stay below one a feeder-year.
 */
const evidenceToRaise = Math.log(20_000);
/** So that some twenty good deposits clear it. */
const evidenceMax = evidenceToRaise + 3;
// More than one in ten is worth a keeper's way; half of that is a deadband.
const missesFrom = 0.1;
const missesUntil = 0.05;
const beamMisses = 0.2;
const tooWeakMax = 9; // where nearly all are missed, one that is taken speaks for ten
const frostBelow = 0;
const thawedFrom = 3;
const mildFallsMin = 40;
const rememberedFalls = 400;
const temperatureHolds = hours(2);
