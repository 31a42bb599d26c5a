import { isAssumed } from "../assumedSettings.ts";
import type { ReportedRefill } from "../facts.ts";
import { hours, type Instant, later, minutes } from "../instant.ts";
import { logNormalTail } from "../normalTail.ts";
import type { FeederSettings } from "../settings.ts";
import type { HopperState, LastWord, LevelHypothesis } from "./hopperState.ts";
import {
  consolidate,
  densityOf,
  fitsIn,
  type Hypotheses,
  observe,
  raise,
  rectify,
  times,
  withBrim,
  withLevel,
} from "./levelHypotheses.ts";
import { standingHypotheses, withHypotheses } from "./unseenLevel.ts";

/**
 * What the keeper says of a hopper whose level no scale shows. A word is evidence with its own error: it may be late, said twice, wrong by a
 * good part, or of another feeder, and a refill may never be told. Each of these is a history, with a floor under its density. How often
 * people err: common practice, no source.
 */

/** The same said again is mostly the same refill. */
const sameWordSpan = hours(8);
const twiceShare = 0.9;
const amountWithFullSpan = minutes(30);
const wrongShare = 0.1;
/** It was told before, is late, or was meant for another feeder. */
const idleShare = 0.04;
/** Most fill up what they refill, to about the same height each time. */
const brimShare = 0.65;
const firstBrimShare = 0.2; // the first food is mostly what was at hand
const brimSpread = 0.06;
/** A kitchen scale, a scoop or a guess. */
const amountSpread = 0.1;

/** @param eatenSince g, expected since the word's own time: a level is told as it was then */
export function tellUnseen(
  hopper: HopperState,
  { at, what }: ReportedRefill,
  eatenSince: number,
  settings: FeederSettings,
): HopperState {
  const standing = standingHypotheses(hopper.hypotheses, hopper.fellSinceWeighed);
  const before = standing.length > 0 ? standing : firstHypotheses(hopper, settings);
  const word: LastWord = { at, kind: what.kind, grams: what.kind === "filled" ? null : what.grams };
  const isTwice = isSameWord(hopper.lastWord, word);
  // Of a level that nobody knew, a word that says it leaves no other history, and so does the first food of all.
  const isIdlePossible = hopper.isKnown || (what.kind === "added" && hasFedBirds(hopper));
  const after = before.flatMap((each) => {
    const told = [
      ...tellOne(rectify(each), hopper, { at, what }, eatenSince),
      ...(what.kind === "filled" ? [] : resizedBy(each, what, settings)),
    ];
    const idleDensity = holds(each, what) / each.brim;
    const idle = isIdlePossible && !isFoundEmpty(what, settings) ? [times(each, idleShare * idleDensity)] : [];
    const all = isTwice
      ? [times(each, twiceShare * idleDensity), ...told.map((one) => times(one, 1 - twiceShare))]
      : [...told, ...idle];
    // "Filled" tells no amount: it is said of a small hopper as often as of a large one.
    return what.kind === "filled" ? all.map((one) => times(one, each.brim)) : all;
  });
  const levelMeasuredAt =
    what.kind === "added" ? (hopper.levelMeasuredAt ?? at) : later(at, hopper.levelMeasuredAt ?? at);
  return {
    ...withHypotheses({ ...hopper, fellSinceWeighed: false }, consolidate(after)),
    lastWord: word,
    levelMeasuredAt,
  };
}

/** Probability that the hopper of this history holds what was told: whoever errs knows the size of the hopper all the same. */
const holds = (each: LevelHypothesis, what: ReportedRefill["what"]): number =>
  what.kind === "filled" ? 1 : Math.max(1 - tooMuchProbability(each, what.grams), holdsFloor);
const holdsFloor = 0.001;

function tooMuchProbability({ brim, covariance }: LevelHypothesis, told: number): number {
  const variance = covariance[5] + (brimSpread * brim) ** 2;
  return Math.exp(logNormalTail((heaped * brim - told) / Math.sqrt(variance)));
}
/** Above the brim by so much at most. */
const heaped = 1.2;

/** More was told than the hopper holds by this history: its size was learnt wrong, and the portions with it, since so many emptied it. */
function resizedBy(
  each: LevelHypothesis,
  what: Exclude<ReportedRefill["what"], { kind: "filled" }>,
  settings: FeederSettings,
): LevelHypothesis[] {
  const tooMuch = tooMuchProbability(each, what.grams);
  if (tooMuch < 0.01) return [];
  const share = isAssumed(settings, "hopperCapacity") ? wrongSizeShare : wrongStatedSizeShare;
  const level = what.kind === "level" ? what.grams : Math.max(each.level, 0) + what.grams;
  const brim = Math.max(level / usualFullness, each.brim);
  const portion = each.portion * Math.min(brim / each.brim, portionFactorMax);
  return [
    {
      probability: (each.probability * share * tooMuch) / brim,
      level,
      portion,
      brim,
      covariance: [(0.12 * level) ** 2, 0, (0.5 * portion) ** 2, 0, 0, (0.3 * brim) ** 2],
    },
  ];
}
const wrongSizeShare = 0.05;
const wrongStatedSizeShare = 0.001;
/** Most hoppers are told to be nearly full. */
const usualFullness = 0.85;
const portionFactorMax = 10;

/** "Empty" is seen for certain. */
const isFoundEmpty = (what: ReportedRefill["what"], { hopperCapacity }: FeederSettings): boolean =>
  what.kind === "level" && what.grams <= emptyShare * hopperCapacity;
const emptyShare = 0.03;

const isSameWord = (last: LastWord | null, word: LastWord): boolean =>
  last !== null && last.kind === word.kind && last.grams === word.grams && Math.abs(word.at - last.at) <= sameWordSpan;

const isAmountTold = (last: LastWord | null, at: Instant): boolean =>
  last !== null && last.kind === "added" && Math.abs(at - last.at) <= amountWithFullSpan;

/** All densities are in 1/g of the level afterwards. */
function tellOne(
  each: LevelHypothesis,
  hopper: HopperState,
  { at, what }: ReportedRefill,
  eatenSince: number,
): LevelHypothesis[] {
  const { lastWord, isKnown } = hopper;
  switch (what.kind) {
    case "added":
      return pour(each, what.grams, hopper.isKnown || hasFedBirds(hopper) ? brimShare : firstBrimShare);
    case "filled": {
      const noise = brimNoise(each) + (0.5 * eatenSince) ** 2;
      const filled = times(raise(withBrim(each, noise), -eatenSince, 0), (1 - idleShare) / each.brim);
      if (!isAmountTold(lastWord, at)) return [filled];
      // The amount was told too: then the level before it shows in the level now.
      const density = densityOf(each, "levelBelowBrim", -eatenSince, noise);
      return [times(observe(each, "levelBelowBrim", -eatenSince, noise), density), times(filled, 0.3)];
    }
    case "level":
      return seeLevel(each, what.grams, eatenSince, isKnown);
  }
}

const brimNoise = ({ brim }: LevelHypothesis): number => (brimSpread * brim) ** 2;

/** Poured in: so much, or by a wrong amount; mostly up to the brim. */
function pour(each: LevelHypothesis, added: number, brimShare: number): LevelHypothesis[] {
  const noise = brimNoise(each);
  const rightShare = 1 - wrongShare - idleShare;
  const right = raise(each, added, (amountSpread * added) ** 2);
  const other = raise(each, 1.1 * added, (0.5 * added) ** 2);
  const toBrim = (one: LevelHypothesis, share: number) =>
    times(observe(one, "levelBelowBrim", 0, noise), share * brimShare * densityOf(one, "levelBelowBrim", 0, noise));
  const below = (rightShare * (1 - brimShare) * fitsIn(right, noise)) / each.brim;
  return [toBrim(right, rightShare), times(right, below), toBrim(other, wrongShare)];
}

/** A level that was seen: the history's own, or the one after a refill; or told wrong. */
function seeLevel(each: LevelHypothesis, told: number, eatenSince: number, isKnown: boolean): LevelHypothesis[] {
  const seen = Math.max(told - eatenSince, 0);
  // "Empty" is seen for certain, "half full" is judged by eye.
  const variance = (0.005 * each.brim + 0.12 * told) ** 2 + (0.5 * eatenSince) ** 2;
  const noise = brimNoise(each);
  const own = (share: number) =>
    times(observe(each, "level", seen, variance), share * densityOf(each, "level", seen, variance));
  const anywhere = withLevel(each, seen, variance);
  const afterRefill = (share: number) => times(anywhere, (share * fitsIn(anywhere, noise)) / each.brim);
  if (told <= emptyShare * each.brim) return isKnown ? [own(0.9), afterRefill(0.1)] : [afterRefill(1)];
  const filled = withBrim(each, noise);
  const other = withLevel(each, 0.95 * seen, (0.45 * told) ** 2 + variance);
  return [
    ...(isKnown ? [own(0.45), afterRefill(0.12)] : [afterRefill(0.57)]),
    times(observe(filled, "level", seen, variance), 0.35 * densityOf(filled, "level", seen, variance)),
    times(other, (0.06 * fitsIn(other, noise)) / each.brim),
  ];
}

/**
 * Before the first word: what a scale has shown while it was read; next to nothing in a hopper that was only tried out; else little, as in most that
 * are refilled.
 */
function firstHypotheses(hopper: HopperState, settings: FeederSettings): Hypotheses {
  const { estimate, isKnown } = hopper;
  const { hopperCapacity } = settings;
  const [firstShare, spreadShare] = hasFedBirds(hopper) ? [0.08, 0.1] : [0.01, 0.03];
  const levelVariance = isKnown ? estimate.covariance[0] : (spreadShare * hopperCapacity) ** 2;
  const brimVariance = (brimDeviation(settings) * hopperCapacity) ** 2;
  const portions: readonly PortionGuess[] =
    isAssumed(settings, "portionMass") && !isKnown
      ? assumedPortions
      : [{ probability: 1, share: 1, spread: Math.sqrt(estimate.covariance[2]) / estimate.portion }];
  return portions.map(({ probability, share, spread }) => ({
    probability,
    level: isKnown ? estimate.level : firstShare * hopperCapacity,
    portion: share * estimate.portion,
    brim: hopperCapacity,
    covariance: [levelVariance, 0, (spread * share * estimate.portion) ** 2, 0, 0, brimVariance],
  }));
}

/** More portions than a keeper gives to see whether the motor turns. Common practice, no source. */
const hasFedBirds = ({ appetite }: HopperState): boolean => appetite.daily !== null || appetite.dayPortions > 10;

interface PortionGuess {
  readonly probability: number;
  readonly share: number; // of the assumed portion
  readonly spread: number; // of itself
}

/** Nobody has told what a portion weighs: home-built dispensers give from some pieces to a small handful. Common practice, no source. */
const assumedPortions: readonly PortionGuess[] = [
  { probability: 0.35, share: 0.75, spread: 0.35 },
  { probability: 0.35, share: 1.6, spread: 0.35 },
  { probability: 0.3, share: 3.5, spread: 0.4 },
];

/** A capacity is measured once, with other food; an assumed one may be half or twice as much. */
const brimDeviation = (settings: FeederSettings): number => (isAssumed(settings, "hopperCapacity") ? 0.7 : 0.12);
