import type { FeederSettings } from "../feeder.ts";
import { portionDoubt } from "../hopper/level.ts";
import { type Instant, inDays, type Span } from "../instant.ts";
import type { Grams } from "../units.ts";
import { type Bounds, normalRatio, openTest, type SequentialTest, waldBounds, weigh } from "./sequentialTest.ts";

/**
 * What the scale says about portions. One portion is lost in its noise, so portions are gathered into a block until their
 * mass stands well above it; then the block either sank by its portions or didn't.
 */
export interface ScaleEvidence {
  readonly start: { readonly grams: number; readonly at: Instant } | null; // the reading that began the block
  readonly portions: number; // given in the block
  readonly counted: number; // of them seen by the chute sensor
  readonly odd: number; // readings in a row that fit neither: a bird, a refill
  readonly nothingFalls: SequentialTest;
  readonly chuteBlind: SequentialTest;
  /**
   * What blocks said that held only portions the chute sensor didn't see: above zero that nothing fell, below that food
   * fell. Null while there was none since it last saw something.
   */
  readonly uncounted: number | null;
}

export const unweighed: ScaleEvidence = {
  start: null,
  portions: 0,
  counted: 0,
  odd: 0,
  nothingFalls: openTest,
  chuteBlind: openTest,
  uncounted: null,
};

/** A block must weigh so many times the noise of a difference of two readings. */
const blockOverNoise = 5;
/** One block alone decides nothing: snow may fall just as food does. */
const stepMax = 7;
const bounds: Bounds = waldBounds({ falseAlarm: 1e-5, missed: 0.02 });

export function portionInBlock(scale: ScaleEvidence, fell: boolean | null): ScaleEvidence {
  const begun = scale.start !== null;
  return {
    start: scale.start,
    portions: begun ? scale.portions + 1 : scale.portions,
    counted: begun && fell === true ? scale.counted + 1 : scale.counted,
    odd: scale.odd,
    nothingFalls: scale.nothingFalls,
    chuteBlind: fell === true ? weigh(scale.chuteBlind, -stepMax, bounds) : scale.chuteBlind,
    uncounted: fell === true ? null : scale.uncounted,
  };
}

/** `noise` and `drift` in grams (hopper/level.ts); `uncountedRun`: portions in a row that the chute sensor didn't see. */
export function weighedBlock(
  scale: ScaleEvidence,
  reading: Grams,
  at: Instant,
  settings: FeederSettings,
  noise: number,
  drift: number,
  uncountedRun: number,
): ScaleEvidence {
  const begun: ScaleEvidence = { ...scale, start: { grams: reading, at }, portions: 0, counted: 0, odd: 0 };
  if (scale.start === null || at < scale.start.at) return scale.start === null ? begun : scale;

  // The chute sensor has just stopped counting: from here on the block shall hold only such portions.
  if (settings.sensors.chute && scale.counted > 0 && uncountedRun > 0) return begun;

  const expected = scale.portions * settings.portionMass;
  const watched = inDays((at - scale.start.at) as Span);
  const still = 2 * noise * noise + drift * drift * watched;
  if (expected < blockOverNoise * Math.sqrt(still)) {
    // A quiet hour: begin anew, so that the zero's wandering isn't taken for food.
    return scale.portions === 0 ? begun : watched > 1 ? begun : scale;
  }
  const fallen = scale.start.grams - reading;
  const sunk = still + scale.portions * (portionDoubt * settings.portionMass) ** 2 + (portionDoubt * expected) ** 2;
  const tooFar = fallen < -5 * Math.sqrt(still) || fallen > expected + 5 * Math.sqrt(sunk);
  if (tooFar) return scale.odd >= 2 ? begun : { ...scale, odd: scale.odd + 1 };

  const ratio = normalRatio(fallen, { mean: expected, variance: sunk }, { mean: 0, variance: still });
  const step = Math.min(Math.max(ratio, -stepMax), stepMax);
  const onlyUncounted = settings.sensors.chute && scale.counted === 0;
  return {
    ...begun,
    nothingFalls: weighBlock(scale.nothingFalls, step),
    chuteBlind: onlyUncounted ? weighBlock(scale.chuteBlind, -step) : scale.chuteBlind,
    // Bounded, so that it can turn; more than one block, so that one gust doesn't turn it.
    uncounted: onlyUncounted
      ? Math.min(Math.max((scale.uncounted ?? 0) + step, -2 * stepMax), 2 * stepMax)
      : scale.uncounted,
  };
}

/** A verdict that stands is taken back by two blocks, not by one gust. */
const weighBlock = (test: SequentialTest, step: number): SequentialTest =>
  weigh(test, test.verdict === "faulty" ? Math.max(step, -stepMax / 2) : step, bounds);
