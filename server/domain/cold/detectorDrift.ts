import type { Evidence, Fault } from "../faults.ts";
import { days, hours, type Instant } from "../instant.ts";
import type { Deposit, Readings } from "../report.ts";
import type { Celsius } from "../units.ts";
import { degrees } from "./degrees.ts";
import {
  coilResistance,
  estimatedMissedShare,
  heardSignal,
  leastTaken,
  missedShare,
  type SignalModel,
  unheardSignal,
} from "./detectorSignal.ts";

/**
 * A detector that cold makes weaker hears fewer caps, and nobody hears of those. Two things give it away:
 * - Signals. They come ever closer to the weakest that was ever taken, yet none is weaker: the rest must have been missed.
 *   Each deposit taken where a share p should have been too weak weighs ln 1/(1 − p); one far weaker that was taken refutes all.
 * - The slot's own beam. In frost more falls through it than the detector calls metal, against what is usual in mild weather.
 */
export interface DetectorDrift {
  readonly signals: SignalModel;
  readonly temperature: { readonly celsius: Celsius; readonly at: Instant } | null; // null until one was said
  readonly bySignals: number; // log odds, summed as by Page (1954)
  readonly byBeam: number;
  /** What fell through the beam in mild weather, and how much of it was called no metal. */
  readonly mildBeam: { readonly fell: number; readonly notMetal: number };
  /** The last days: two blocks of them, so that two to four days are at hand. */
  readonly recent: Recent;
  readonly recentBefore: Recent;
  readonly found: { readonly at: Instant; readonly temperature: Celsius; readonly by: "signals" | "beam" } | null;
}

interface Recent {
  readonly block: number;
  readonly taken: number;
  readonly tooWeak: number; // how many should have been missed beside those taken
  readonly notMetal: number; // through the beam, and no metal
}

const nothingFell = (block: number): Recent => ({ block, taken: 0, tooWeak: 0, notMetal: 0 });

export const untriedDetector = (): DetectorDrift => ({
  signals: unheardSignal(),
  temperature: null,
  bySignals: 0,
  byBeam: 0,
  mildBeam: { fell: 0, notMetal: 0 },
  recent: nothingFell(0),
  recentBefore: nothingFell(0),
  found: null,
});

export function detectorHeard(before: DetectorDrift, { metal, signal, chute }: Deposit, at: Instant): DetectorDrift {
  // A coil follows the box within the hour; an old backlog fell in a cold that nobody told of.
  if (before.temperature === null || Math.abs(at - before.temperature.at) > temperatureHolds) return before;
  const temperature = before.temperature.celsius;
  const turned = withBlock(before, at);
  const { recent } = turned;
  if (metal === false) {
    if (chute !== true) return turned;
    const beam = { ...byBeamAfter(turned, temperature, true), recent: { ...recent, notMetal: recent.notMetal + 1 } };
    return judged({ ...turned, ...beam }, temperature, at);
  }
  // Without a word on metal it was paid for, so it was taken.
  const share = signal === null ? 0 : missedShare(turned.signals, temperature);
  const signals = signal === null ? turned.signals : heardSignal(turned.signals, signal, temperature);
  const missed = share < missesUntil ? share : estimatedMissedShare(turned.signals, temperature);
  const bySignals =
    Math.min(evidenceMax, keptAfter(turned, signals, temperature) - Math.log1p(-Math.min(missed, 0.8))) + 0;
  const missedBeside = Math.min(missed / (1 - missed), tooWeakMax);
  return judged(
    {
      ...turned,
      ...(chute === true ? byBeamAfter(turned, temperature, false) : {}),
      signals,
      bySignals,
      recent: {
        ...recent,
        taken: recent.taken + 1,
        tooWeak: recent.tooWeak + missedBeside,
      },
    },
    temperature,
    at,
  );
}

export function feltDetector(before: DetectorDrift, { inside, air }: Readings, at: Instant): DetectorDrift {
  const celsius = inside ?? air;
  if (celsius === null) return before;
  return judged({ ...before, temperature: { celsius, at } }, celsius, at);
}

export function detectorDrifting(drift: DetectorDrift): Fault | null {
  const { found } = drift;
  if (found === null) return null;
  const { missing, fell, notMetal } = lastDays(drift);
  const cold = degrees(found.temperature);
  const coil = Math.round(100 * (coilResistance(found.temperature) - 1));
  const evidence: Evidence[] = [
    { what: "temperature at the detector", value: cold, at: found.at },
    {
      what: "estimated share missed now",
      value: `${percent(estimatedMissedShare(drift.signals, found.temperature))} %`,
      at: null,
    },
    { what: "through the slot, not called metal, last days", value: String(notMetal), at: null },
    { what: "copper of a coil, against 20 °C", value: `${coil < 0 ? "−" : "+"}${Math.abs(coil)} %`, at: null },
  ];
  const why =
    found.by === "signals"
      ? `At ${cold} the detector hears caps only weakly`
      : `Since it froze more falls through the slot than the detector calls metal`;
  return {
    kind: "detectorDrifting",
    reason: `${why}: it may be missing about ${missing} of the ${fell} deposits of the last days.`,
    evidence,
    sure: null,
  };
}

// --- evidence --------------------------------------------------------------------------------------------------------

/**
 * A cap weaker than any before was taken all the same, so the detector's limit lies lower than was thought. The evidence is
 * what it would have been with that limit, which is nearly all of it where the cap was a hair weaker, and nearly none where
 * it was far weaker (the shares are small, so that evidence goes with them).
 */
function keptAfter({ signals: before, bySignals }: DetectorDrift, now: SignalModel, temperature: Celsius): number {
  const [least, leastNow] = [leastTaken(before), leastTaken(now)];
  if (bySignals === 0 || least === null || leastNow === null || leastNow >= least) return bySignals;
  const shareBefore = missedShare(before, temperature);
  const shareNow = missedShare({ ...before, least: leastNow }, temperature);
  return shareBefore > 0 ? bySignals * Math.min(1, shareNow / shareBefore) : 0;
}

/** Raised by enough of either evidence, cleared by less of it or by warmth. */
function judged(drift: DetectorDrift, temperature: Celsius, at: Instant): DetectorDrift {
  const { found, bySignals, byBeam } = drift;
  if (found === null && bySignals < raisedFrom && byBeam < raisedFrom) return drift;
  const enough = found === null ? raisedFrom : raisedFrom / 2;
  const weak = bySignals >= enough && missedShare(drift.signals, temperature) >= (found ? missesUntil : missesFrom);
  const unheard = byBeam >= enough && temperature < (found ? thawedFrom : frostBelow);
  if (weak || unheard) return { ...drift, found: { at, temperature, by: weak ? "signals" : "beam" } };
  return found === null ? drift : { ...drift, found: null };
}

function byBeamAfter(
  { byBeam, mildBeam }: DetectorDrift,
  temperature: Celsius,
  notMetal: boolean,
): Pick<DetectorDrift, "byBeam" | "mildBeam"> {
  if (temperature > thawedFrom) {
    const fade = mildBeam.fell < rememberedFalls ? 1 : 1 - 1 / rememberedFalls;
    const learnt = { fell: fade * mildBeam.fell + 1, notMetal: fade * mildBeam.notMetal + (notMetal ? 1 : 0) };
    return { byBeam, mildBeam: learnt };
  }
  if (temperature >= frostBelow || mildBeam.fell < mildFallsMin) return { byBeam, mildBeam };
  const usual = usualNotMetal(mildBeam);
  const drifted = usual + beamMisses * (1 - usual);
  const weighs = notMetal ? Math.log(drifted / usual) : Math.log1p(-beamMisses);
  return { byBeam: Math.min(evidenceMax, Math.max(0, byBeam + weighs)), mildBeam };
}

/** Birds bring stones, too. One and a half falls of twenty are taken for granted before any was seen. */
const usualNotMetal = ({ fell, notMetal }: DetectorDrift["mildBeam"]): number => (notMetal + 1.5) / (fell + 20);

function withBlock(drift: DetectorDrift, at: Instant): DetectorDrift {
  const block = Math.floor(at / days(2));
  if (block <= drift.recent.block) return drift; // of the same days, or late out of a backlog
  const before = block === drift.recent.block + 1 ? drift.recent : nothingFell(block - 1);
  return { ...drift, recent: nothingFell(block), recentBefore: before };
}

function lastDays({ recent, recentBefore, mildBeam }: DetectorDrift) {
  const taken = recent.taken + recentBefore.taken;
  const notMetal = recent.notMetal + recentBefore.notMetal;
  const usual = usualNotMetal(mildBeam);
  const seenByBeam = notMetal - (usual / (1 - usual)) * taken;
  const missing = Math.max(1, Math.round(Math.max(recent.tooWeak + recentBefore.tooWeak, seenByBeam)));
  return { missing, fell: taken + missing, notMetal };
}

const percent = (share: number): number => Math.round(100 * share);

/**
 * The mean run to a false alarm by either evidence is at least e to this (Lorden 1971): 20,000 deposits, two years of thirty
 * a day, so that both together stay below one a feeder-year.
 */
const raisedFrom = Math.log(20_000);
/** So that some twenty good deposits clear it. */
const evidenceMax = raisedFrom + 3;
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
