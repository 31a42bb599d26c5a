import { isAssumed } from "../assumedSettings.ts";
import type { ReportedRefill } from "../facts.ts";
import { hours, type Instant, inDays, minutes, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import type { HopperState, LastWord, LevelHypothesis } from "./hopperState.ts";
import type { Covariance } from "./levelFilter.ts";
import {
  consolidate,
  cutBelow,
  densityAt,
  type Hypotheses,
  lowerByPortion,
  measure,
  probabilityAbove,
  times,
  withLevel,
} from "./levelHypotheses.ts";

/**
 * The level that no scale sees: what portions, empty portions and the keeper's words make of the histories. Shares of how people tell are common
 * practice, no source; they only have to be about right, since what falls afterwards decides.
 */

/** A hopper whose level no scale has ever shown. */
export const isUnseen = ({ weighedAt }: HopperState): boolean => weighedAt === null;

/** The most probable history is the estimate. */
export function withHypotheses(hopper: HopperState, hypotheses: Hypotheses): HopperState {
  const [first] = hypotheses;
  if (first === undefined) return { ...hopper, hypotheses };
  const [, , , , , ...others] = hopper.estimate.covariance;
  const covariance = [first.levelVariance, first.covariance, first.portionVariance, 0, 0, ...others] as unknown as Covariance;
  return {
    ...hopper,
    isKnown: true,
    estimate: { ...hopper.estimate, level: first.level, portion: first.portion, covariance },
    hypotheses,
  };
}

// --- portions --------------------------------------------------------------------------------------------------------

/** A history in which nothing was left is not quite impossible where food fell: the chute may have counted rain. */
const fallFloor = 0.02;

/** @param didFall seen by a chute; false: it can't be seen */
export function lowerUnseen(hopper: HopperState, didFall: boolean, at: Instant, settings: FeederSettings): HopperState {
  const passed = hopper.lastPortionAt === null ? 0 : Math.max(0, at - hopper.lastPortionAt);
  let all = hopper.hypotheses;
  if (didFall) all = all.map((each) => foodFell(each));
  const lowered = all.map((each) => lowerByPortion(each, hopper.portionSpreadVariance, portionDrift(each)));
  return withHypotheses(hopper, consolidate(addUntoldRefill(lowered, passed as Span, settings)));
}

function foodFell(each: LevelHypothesis): LevelHypothesis {
  if (each.level > 3 * Math.sqrt(each.levelVariance) + each.portion) return each;
  const likelihood = Math.max(probabilityAbove(each, 0.5 * each.portion), fallFloor);
  return times(cutBelow(each, each.portion), likelihood);
}

/** Food, damp and the height above the outlet change the portion: some per cent within a filling. Common practice, no source. */
const portionDriftShare = 0.004;
const portionDriftShareMax = 0.08;
const portionDrift = ({ portion, portionVariance }: LevelHypothesis): number =>
  portionVariance < (portionDriftShareMax * portion) ** 2 ? (portionDriftShare * portion) ** 2 : 0;

/** A day, that somebody refills and doesn't tell (yet): people refill what is low. */
const untoldADay = 0.004;
const untoldADayWhenLow = 0.05;
const lowShare = 0.3;

/** In each history somebody may have refilled since the portion before. */
function addUntoldRefill(all: Hypotheses, passed: Span, settings: FeederSettings): Hypotheses {
  const capacity = settings.hopperCapacity;
  if (isAssumed(settings, "hopperCapacity") || passed <= 0) return all;
  let [share, portion, portionVariance] = [0, 0, 0];
  const remaining = all.map((each) => {
    const rate = each.level < lowShare * capacity ? untoldADayWhenLow : each.level < 0.7 * capacity ? untoldADay : 0;
    const moved = Math.min(rate * inDays(passed), 0.2) * each.probability;
    share += moved;
    portion += moved * each.portion;
    portionVariance += moved * each.portionVariance;
    return times(each, 1 - moved / each.probability);
  });
  if (share < 1e-9) return all;
  const refilled: LevelHypothesis = {
    probability: share,
    ...refilledLevel(capacity),
    portion: portion / share,
    covariance: 0,
    portionVariance: portionVariance / share,
  };
  return mergeIntoNearest(remaining, refilled);
}

const refilledLevel = (capacity: number) => ({ level: 0.85 * capacity, levelVariance: (0.17 * capacity) ** 2 });

/** So little at a time would never outgrow the least probability that is kept. */
function mergeIntoNearest(all: Hypotheses, small: LevelHypothesis): Hypotheses {
  const index = all.findIndex(
    ({ level, levelVariance }) => (level - small.level) ** 2 < levelVariance + small.levelVariance && level > 0.4 * small.level,
  );
  if (index < 0) return [...all, { ...small, probability: Math.max(small.probability, 0.0021) }];
  return all.map((each, at) => (at === index ? times(each, 1 + small.probability / each.probability) : each));
}

/** Half a portion, give or take. */
export const cutShortUnseen = (hopper: HopperState, variance: number): HopperState =>
  withHypotheses(
    hopper,
    hopper.hypotheses.map((each) => ({
      ...each,
      level: Math.max(each.level - each.portion / 2, 0),
      levelVariance: each.levelVariance + variance,
    })),
  );

// --- empty portions --------------------------------------------------------------------------------------------------

/** What lies in corners, of the capacity, give or take as much. Common practice, no source. */
const restShare = 0.025;
/** Empty portions come in ones and in runs by nature (feed/emptyPortions.ts), and a run may be a jam: after six they prove nothing more. */
const emptyByNature = 0.05;
const emptyAgain = 0.45;
const emptyRunMax = 6;
const emptyWhenDry = 0.95;

/** The chute saw nothing fall, for the `count`th time in a row. */
export function dryUnseen(hopper: HopperState, count: number, settings: FeederSettings): HopperState {
  if (count > emptyRunMax) return hopper;
  const rest = restShare * settings.hopperCapacity;
  const variance = rest * rest;
  const byNature = count === 1 ? emptyByNature : emptyAgain;
  const all = hopper.hypotheses.flatMap((each) => {
    const dryProbability = 1 - probabilityAbove(each, rest, variance);
    const fed = times(each, (1 - dryProbability) * byNature);
    if (dryProbability < 1e-3) return [fed];
    if (isDry(each, settings)) return [times(each, emptyWhenDry)];
    return [fed, times(measure(each, rest, variance), dryProbability * emptyWhenDry)];
  });
  return withHypotheses(hopper, consolidate(all));
}

/** By this history nothing is left but the rest. */
const isDry = ({ level, levelVariance }: LevelHypothesis, { hopperCapacity }: FeederSettings): boolean =>
  level + Math.sqrt(levelVariance) < 3 * restShare * hopperCapacity;

export const dryProbabilityOf = ({ hypotheses }: HopperState, settings: FeederSettings): number =>
  hypotheses.reduce((sum, each) => sum + (isDry(each, settings) ? each.probability : 0), 0);

// --- words -----------------------------------------------------------------------------------------------------------

/** The same said again is mostly the same refill. */
const sameWordSpan = hours(8);
const amountWithFullSpan = minutes(30);
/** Of words: said twice where it is the very same; a wrong amount; late or of another feeder. */
const twiceShare = 0.9;
const wrongShare = 0.1;
const idleShare = 0.04;
/** Most fill to the brim, give or take what the capacity is entered wrongly and the eye errs. */
const brimShare = 0.65;
const brimMean = 0.94;

/** @param eatenSince g, expected since the word's own time: a level is told as it was then */
export function tellUnseen(
  hopper: HopperState,
  { at, what }: ReportedRefill,
  eatenSince: number,
  settings: FeederSettings,
): HopperState {
  const before: Hypotheses = hopper.hypotheses.length > 0 ? hopper.hypotheses : unknownLevel(hopper, settings);
  const word: LastWord = { at, kind: what.kind, grams: what.kind === "filled" ? null : what.grams };
  const isTwice = isSameWord(hopper.lastWord, word);
  const after = before.flatMap((each) => {
    const told = tellOne(each, hopper.lastWord, { at, what, eatenSince }, settings);
    return isTwice ? [times(each, twiceShare / settings.hopperCapacity), ...told.map((one) => times(one, 1 - twiceShare))] : told;
  });
  return { ...withHypotheses(hopper, consolidate(after)), lastWord: word, levelMeasuredAt: measuredAt(hopper, at) };
}

const measuredAt = ({ levelMeasuredAt }: HopperState, at: Instant): Instant =>
  levelMeasuredAt === null ? at : levelMeasuredAt;

const isSameWord = (last: LastWord | null, word: LastWord): boolean =>
  last !== null && last.kind === word.kind && last.grams === word.grams && Math.abs(word.at - last.at) <= sameWordSpan;

/** All densities are in 1/g of the level afterwards. */
function tellOne(
  each: LevelHypothesis,
  last: LastWord | null,
  { at, what, eatenSince }: ReportedRefill & { readonly eatenSince: number },
  settings: FeederSettings,
): LevelHypothesis[] {
  const anywhere = 1 / settings.hopperCapacity;
  const idle = times(each, idleShare * anywhere);
  switch (what.kind) {
    case "added":
      return [...pour(each, what.grams, settings), idle];
    case "filled": {
      const level = Math.max(brimMean * settings.hopperCapacity - eatenSince, 0);
      const variance = brimDeviation(settings) ** 2 + (0.5 * eatenSince) ** 2;
      const reset = times(withLevel(each, level, variance), (1 - idleShare) * anywhere);
      // The amount was told too: then the level before it shows in the level now.
      return isAmountTold(last, at)
        ? [times(measure(each, level, variance), densityAt(each, level, variance)), times(reset, 0.3)]
        : [reset, idle];
    }
    case "level":
      return [...seeLevel(each, Math.max(what.grams - eatenSince, 0), eatenSince, settings), idle];
  }
}

const isAmountTold = (last: LastWord | null, at: Instant): boolean =>
  last !== null && last.kind === "added" && Math.abs(at - last.at) <= amountWithFullSpan;

/** Also of an assumed capacity, which may be half as much again or half of it. */
const brimDeviation = (settings: FeederSettings): number =>
  (isAssumed(settings, "hopperCapacity") ? 0.35 : 0.12) * settings.hopperCapacity;

/** Poured in: so much, about so much, or by a wrong amount; mostly up to the brim. */
function pour(each: LevelHypothesis, added: number, settings: FeederSettings): LevelHypothesis[] {
  const anywhere = 1 / settings.hopperCapacity;
  const brim = brimDeviation(settings) ** 2;
  const full = brimMean * settings.hopperCapacity;
  const raise = (deviation: number, mean: number) => ({
    ...each,
    level: each.level + mean,
    levelVariance: each.levelVariance + deviation * deviation,
  });
  const raised = raise(0.1 * added, added);
  const room = 1 - probabilityAbove(raised, 1.1 * settings.hopperCapacity, brim);
  const other = raise(0.5 * added, 1.1 * added);
  const toBrim = (one: LevelHypothesis, share: number) => times(measure(one, full, brim), share * brimShare * densityAt(one, full, brim));
  return [
    toBrim(raised, 1 - wrongShare - idleShare),
    times(raised, (1 - wrongShare - idleShare) * (1 - brimShare) * anywhere * room),
    toBrim(other, wrongShare),
  ];
}

/** A level that was seen: the history's own, or the one after a refill. */
function seeLevel(each: LevelHypothesis, seen: number, eatenSince: number, settings: FeederSettings): LevelHypothesis[] {
  const anywhere = 1 / settings.hopperCapacity;
  const variance = (0.01 * settings.hopperCapacity + 0.12 * (seen + eatenSince)) ** 2 + (0.5 * eatenSince) ** 2;
  return [
    times(measure(each, seen, variance), 0.5 * densityAt(each, seen, variance)),
    times(withLevel(each, seen, variance), 0.42 * anywhere),
    times(withLevel(each, 1.1 * seen, (0.5 * seen) ** 2 + variance), 0.06 * anywhere),
  ];
}

/** Before the first word: anything, more likely full than empty. */
const unknownLevel = ({ estimate }: HopperState, { hopperCapacity }: FeederSettings): Hypotheses => [
  {
    probability: 1,
    level: 0.08 * hopperCapacity,
    portion: estimate.portion,
    levelVariance: (0.1 * hopperCapacity) ** 2,
    covariance: 0,
    portionVariance: estimate.covariance[2],
  },
];
