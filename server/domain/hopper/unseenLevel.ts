import { isAssumed } from "../assumedSettings.ts";
import { type Instant, inDays, type Span } from "../instant.ts";
import { memoizeLatest } from "../memoizeLatest.ts";
import type { FeederSettings } from "../settings.ts";
import { restShare } from "./gramsLeft.ts";
import type { HopperState, LevelHypothesis } from "./hopperState.ts";
import { type Covariance, resetLevel, resetPortion } from "./levelFilter.ts";
import {
  consolidate,
  cutBelow,
  type Hypotheses,
  levelVarianceOf,
  lowerByPortion,
  observe,
  portionVarianceOf,
  probabilityAbove,
  raise,
  times,
  withBrim,
} from "./levelHypotheses.ts";

/**
 * The level that no scale sees: what portions and empty portions make of the histories. unseenRefill.ts does so with the keeper's words.
 * Shares are common practice, no source; they only have to be about right, since what falls afterwards decides.
 */

/** A hopper whose level no scale shows: it has none, or the keeper's word came while it wasn't read. */
export const isUnseen = ({ weighedAt, hypotheses }: HopperState): boolean =>
  weighedAt === null || hypotheses.length > 0;

/**
 * The histories with what fell last: it must have been there. The state keeps them without, since the same tail would be cut off at each portion
 * anew, which draws a level upwards and makes it seem better known each time.
 */
export const standingHypotheses = memoizeLatest(
  (hypotheses: Hypotheses, hasFallen: boolean): Hypotheses =>
    hasFallen ? hypotheses.map(withFoodThatFell) : hypotheses,
);

function withFoodThatFell(each: LevelHypothesis): LevelHypothesis {
  if (each.level > 3 * Math.sqrt(levelVarianceOf(each))) return each;
  const { level, portion, covariance } = cutBelow(each, 0);
  const [ll, ...others] = covariance;
  // Neighbouring portions share their errors, and a refill that nobody told is as likely as a portion that was learnt too heavy.
  return {
    probability: each.probability,
    level,
    portion: (portion + each.portion) / 2,
    brim: each.brim,
    covariance: [Math.max(ll, (cornerShare * each.brim) ** 2), ...others],
  };
}
/** Of the brim: nobody knows the last of it better. */
const cornerShare = 0.012;

/** The most probable history is the estimate. */
export function withHypotheses(hopper: HopperState, hypotheses: Hypotheses): HopperState {
  const [first] = standingHypotheses(hypotheses, hopper.fellSinceWeighed);
  if (first === undefined) return { ...hopper, hypotheses };
  const [level, levelPortion, portion] = first.covariance;
  // What a scale taught of its own errors stays, and goes with neither level nor portion any more.
  const apart = resetPortion(resetLevel(hopper.estimate, Math.max(first.level, 0), level), first.portion, portion);
  const [, , ...others] = apart.covariance;
  const covariance: Covariance = [level, levelPortion, ...others];
  const estimate = { ...apart, covariance };
  return { ...hopper, isKnown: true, estimate, hypotheses };
}

// --- portions --------------------------------------------------------------------------------------------------------

/** A history in which nothing was left is not quite impossible where food fell: the chute may have counted rain. */
const fallFloor = 0.02;

/** @param didFall seen by a chute; false: it can't be seen */
export function lowerUnseen(hopper: HopperState, didFall: boolean, at: Instant, settings: FeederSettings): HopperState {
  const passed = hopper.lastPortionAt === null ? 0 : Math.max(0, at - hopper.lastPortionAt);
  const all = didFall
    ? hopper.hypotheses.map((each) => foodFell(each, hopper))
    : standingHypotheses(hopper.hypotheses, hopper.fellSinceWeighed);
  const lowered = all.map((each) => lowerByPortion(each, hopper.portionSpreadVariance, portionDrift(each)));
  const next = { ...hopper, fellSinceWeighed: didFall };
  return withHypotheses(next, consolidate(addUntoldRefill(lowered, passed as Span, settings)));
}

/** How probable it was: that the portion before fell as well is known already. */
function foodFell(each: LevelHypothesis, { emptyPortions, fellSinceWeighed }: HopperState): LevelHypothesis {
  const afterRun = emptyPortions > 0 && isDry(each) ? fallWhenDry : 1;
  if (each.level > 3 * Math.sqrt(levelVarianceOf(each)) + each.portion) return times(each, afterRun);
  const before = fellSinceWeighed ? probabilityAbove(each, -0.5 * each.portion) : 1;
  const likelihood = Math.max(probabilityAbove(each, 0.5 * each.portion) / Math.max(before, 1e-12), fallFloor);
  return times(each, Math.min(likelihood, 1) * afterRun);
}
/** What ran dry gives nothing more, but for a trickle. */
const fallWhenDry = 0.2;
/** Food, damp and the height above the outlet change the portion: some per cent within a filling. Common practice, no source. */
const portionDriftShare = 0.004;
const portionDriftShareMax = 0.08;
function portionDrift(each: LevelHypothesis): number {
  return portionVarianceOf(each) < (portionDriftShareMax * each.portion) ** 2
    ? (portionDriftShare * each.portion) ** 2
    : 0;
}

/** A day, that somebody refills and doesn't tell (yet): people refill what is low. */
const untoldADay = 0.004;
const untoldADayWhenLow = 0.05;
const lowShare = 0.3;
const fullShare = 0.7;
/** What an untold refill leaves, of the brim: mostly all that goes in. */
const refilledShare = 0.88;
const refilledSpread = 0.12;

/** In each history somebody may have refilled since the portion before. */
function addUntoldRefill(all: Hypotheses, passed: Span, settings: FeederSettings): Hypotheses {
  if (isAssumed(settings, "hopperCapacity") || passed <= 0) return all;
  const movedOf = (each: LevelHypothesis) => each.probability * Math.min(untoldRate(each) * inDays(passed), 0.2);
  const moved = all.reduce((sum, each) => sum + movedOf(each), 0);
  const [first] = all;
  if (moved < 1e-9 || first === undefined) return all;
  const remaining = all.map((each) => times(each, 1 - movedOf(each) / each.probability));
  const filled = withBrim(first, (refilledSpread * first.brim) ** 2);
  return addSmall(remaining, { ...raise(filled, (refilledShare - 1) * first.brim, 0), probability: moved });
}

const untoldRate = ({ level, brim }: LevelHypothesis): number =>
  level < lowShare * brim ? untoldADayWhenLow : level < fullShare * brim ? untoldADay : 0;

/** To a history that is like it, if there is one. So little at a time would never outgrow the least probability that is kept. */
function addSmall(all: Hypotheses, small: LevelHypothesis): Hypotheses {
  const index = all.findIndex(
    (each) =>
      each.level > fullShare * small.level &&
      (each.level - small.level) ** 2 < levelVarianceOf(each) + levelVarianceOf(small),
  );
  if (index < 0) return [...all, { ...small, probability: Math.max(small.probability, 0.0021) }];
  return all.map((each, at) => (at === index ? times(each, 1 + small.probability / each.probability) : each));
}

/** Half a portion, give or take. */
export const cutShortUnseen = (hopper: HopperState, variance: number): HopperState =>
  withHypotheses(
    hopper,
    hopper.hypotheses.map((each) => raise(each, -each.portion / 2, variance)),
  );

// --- empty portions --------------------------------------------------------------------------------------------------

/** Empty portions come in ones and in runs by nature (feed/emptyPortions.ts), and a run may be a jam: after twelve they prove nothing more. */
const emptyByNature = 0.08;
const emptyAgain = 0.6;
const emptyRunMax = 12;
const emptyWhenDry = 0.95;

/** The chute saw nothing fall, for the `count`th time in a row. */
export function dryUnseen(hopper: HopperState, count: number): HopperState {
  if (count > emptyRunMax) return hopper;
  const byNature = count === 1 ? emptyByNature : emptyAgain;
  const all = hopper.hypotheses.flatMap((each) => {
    const rest = restShare * each.brim;
    const dryProbability = 1 - probabilityAbove(each, rest, rest * rest);
    const fed = times(each, (1 - dryProbability) * byNature);
    if (dryProbability < 1e-3) return [fed];
    if (isDry(each)) return [times(each, emptyWhenDry)];
    return [fed, times(observe(each, "level", rest, rest * rest), dryProbability * emptyWhenDry)];
  });
  return withHypotheses(hopper, consolidate(all));
}

/** By this history nothing is left but the rest. */
const isDry = (each: LevelHypothesis): boolean =>
  each.level + Math.sqrt(levelVarianceOf(each)) < 3 * restShare * each.brim;

/** How far the level of all histories together lies from that of an empty hopper, in its own standard deviations. */
export function dryScore({ hypotheses }: HopperState): number | null {
  const mean = hypotheses.reduce((sum, each) => sum + each.probability * each.level, 0);
  const variance = hypotheses.reduce(
    (sum, each) => sum + each.probability * (levelVarianceOf(each) + (each.level - mean) ** 2),
    0,
  );
  const rest = restShare * (hypotheses[0]?.brim ?? 0);
  return variance > 0 ? Math.max(mean - rest, 0) / Math.sqrt(variance + rest * rest) : null;
}

export const dryProbabilityOf = ({ hypotheses, fellSinceWeighed }: HopperState): number =>
  standingHypotheses(hypotheses, fellSinceWeighed).reduce((sum, each) => sum + (isDry(each) ? each.probability : 0), 0);
