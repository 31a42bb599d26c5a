import { isAssumed } from "../assumed.ts";
import { type Instant, later } from "../instant.ts";
import type { Portion } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Grams, grams } from "../units.ts";
import { type Appetite, ate, unknownAppetite, watchedUntil } from "./appetite.ts";
import {
  afterPortion,
  doubted,
  independent,
  knownAbove,
  type LevelBelief,
  levelVariance,
  portionAnew,
  portionVariance,
} from "./levelFilter.ts";
import { type LidWatch, quietLid } from "./lidLoad.ts";
import { ninetyPercentWithin } from "./ninetyPercent.ts";
import { offsetDoubt, scaleNoise, slopeDoubt } from "./scaleModel.ts";

export { scaleDrift, scaleNoise } from "./scaleModel.ts";

/**
 * How much is in the hopper. Portions are subtracted by dead reckoning, a scale if there is one (weighing.ts) and the
 * keeper's word (refill.ts) correct it, and both teach what a portion weighs. Nothing is claimed before one of them has said where to start.
 */
export interface HopperState {
  readonly known: boolean; // false until a scale or a refill has told where to start; `belief.level` means nothing until then
  readonly belief: LevelBelief;
  readonly spreadVariance: number; // g², of a single portion around the mean portion
  readonly noiseVariance: number; // g², of a single reading, learnt
  readonly portionSaid: number; // g, what the keeper had said a portion weighs when learning began
  readonly portionsSinceWeighed: number;
  readonly lastPortionAt: Instant | null;
  readonly weighedAt: Instant | null; // the last reading that was believed
  readonly fixedAt: Instant | null; // the level as measured then holds all that fell before
  readonly passedAt: Instant | null; // up to then the scale's wandering and the snow are reckoned
  readonly lidWatch: LidWatch;
  readonly cellCelsius: number | null; // of the load cell, which lags behind the thermometer; null without one
  readonly jump: Jump | null;
  readonly found: { readonly grams: number; readonly at: Instant } | null; // the last refill that the scale found
  readonly toldAt: Instant | null; // when the keeper last told of one
  readonly addedAt: Instant | null; // when the keeper last told how much was poured in
  readonly dryRun: number; // portions in a row of which the chute sensor saw nothing, as far as it isn't blind
  readonly emptySince: Instant | null;
  readonly appetite: Appetite;
}

/** A reading far off, not yet believed. */
export interface Jump {
  readonly grams: number; // what the level would be
  readonly off: number; // g, from what was expected
  readonly at: Instant; // of the first such reading
  readonly count: number; // of readings that agreed
}

/** A point and the interval that holds the truth nine times in ten. All within 0 and 105 % of the capacity. */
export interface HopperLevel {
  readonly grams: Grams;
  readonly low: Grams;
  readonly high: Grams;
}

/** One portion against the next: within 30 %, until their own scatter is seen. Common practice, no source. */
export const portionDoubt = 0.3;
/** A keeper's "about 8 g" is right within a third, nine times in ten. Common practice, no source. */
const saidPortionDoubt = 0.19;
/** A usual portion that nobody has confirmed may as well be half or twice as much. Common practice, no source. */
const assumedPortionDoubt = 0.5;
/** Food and wear change the mean portion slowly: 0.3 % a portion, so about 3 % over a day of a hundred. */
const portionWander = 0.003;
/** It doesn't wander off for good: the same food stays within about 6 %. Common practice, no source. */
const portionWanderMost = 0.06;
/** Below this the hopper gives no full portion any more: what is left lies in the corners. */
export const emptyMark = (settings: FeederSettings): Grams =>
  grams(Math.max(2 * settings.portionMass, 0.02 * settings.hopperCapacity));

export function unknownHopper(settings: FeederSettings, now: Instant): HopperState {
  const portion = settings.portionMass;
  const slope = slopeDoubt(settings) ** 2;
  return {
    known: false,
    belief: {
      level: 0,
      portion,
      slope: 0,
      offset: 0,
      wander: 0,
      lid: 0,
      covariance: independent({
        portion: saidPortionVariance(settings),
        slope,
        offset: offsetDoubt(slope, true, settings),
      }),
    },
    spreadVariance: (portionDoubt * portion) ** 2,
    noiseVariance: scaleNoise(settings) ** 2,
    portionSaid: portion,
    portionsSinceWeighed: 0,
    lastPortionAt: null,
    weighedAt: null,
    fixedAt: null,
    passedAt: null,
    lidWatch: quietLid,
    cellCelsius: null,
    jump: null,
    found: null,
    toldAt: null,
    addedAt: null,
    dryRun: 0,
    emptySince: null,
    appetite: unknownAppetite(now),
  };
}

export function levelOf(hopper: HopperState, settings: FeederSettings): HopperLevel | null {
  if (!hopper.known) return null;
  const deviation = Math.sqrt(levelVariance(hopper.belief));
  const { level } = hopper.belief;
  const { low, mean, high } = ninetyPercentWithin(level, deviation, brim(settings));
  return { grams: grams(mean), low: grams(low), high: grams(high) };
}

/** What one portion weighs as learnt so far, and how far single portions scatter around it. */
export const portionOf = (hopper: HopperState): { readonly mean: Grams; readonly spread: Grams } => ({
  mean: grams(hopper.belief.portion),
  spread: grams(Math.sqrt(hopper.spreadVariance)),
});

/**
 * A portion was given. `chuteBlind`: the chute sensor is known to miss what falls, so its zero is no evidence.
 * A portion older than the last measurement is already missing from what was measured: it counts as eaten, but isn't
 * subtracted again.
 */
export function dispensed(
  hopper: HopperState,
  portion: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
  chuteBlind = false,
): HopperState {
  const at = portion.recordedAt;
  const learning = hopper.portionSaid === settings.portionMass ? hopper : portionSaidAnew(hopper, settings);
  if (portion.cutShort === true) return dispensedInPart(learning, portion, settings);
  const seen = sawFall(portion, settings, chuteBlind);
  if (seen === false) {
    const dryRun = portion.motorRan === 0 ? learning.dryRun : learning.dryRun + 1;
    return { ...learning, dryRun, appetite: watchedUntil(learning.appetite, at, settings, nobodyCanEat(learning)) };
  }
  const counts = learning.known && (learning.fixedAt === null || at > learning.fixedAt);
  const next: HopperState = {
    known: learning.known,
    belief: counts ? lowered(learning, seen === true, settings) : learning.belief,
    spreadVariance: learning.spreadVariance,
    noiseVariance: learning.noiseVariance,
    portionSaid: learning.portionSaid,
    portionsSinceWeighed: counts ? learning.portionsSinceWeighed + 1 : learning.portionsSinceWeighed,
    lastPortionAt: learning.lastPortionAt === null || at > learning.lastPortionAt ? at : learning.lastPortionAt,
    weighedAt: learning.weighedAt,
    fixedAt: learning.fixedAt,
    passedAt: learning.passedAt,
    lidWatch: learning.lidWatch,
    cellCelsius: learning.cellCelsius,
    jump: learning.jump,
    found: learning.found,
    toldAt: learning.toldAt,
    addedAt: learning.addedAt,
    dryRun: seen === true ? 0 : learning.dryRun,
    emptySince: learning.emptySince,
    appetite: ate(learning.appetite, learning.belief.portion, at, settings),
  };
  return counts ? markEmpty(next, at, settings) : next;
}

/**
 * A portion was cut short: anything from nothing to a whole one fell, all alike likely. Half of one is taken off, with the
 * variance of that (a twelfth of the square of its width), and nothing is learnt about what a portion weighs.
 */
function dispensedInPart(
  hopper: HopperState,
  { recordedAt: at }: { readonly recordedAt: Instant },
  settings: FeederSettings,
): HopperState {
  const { portion } = hopper.belief;
  const lastPortionAt = hopper.lastPortionAt === null ? at : later(at, hopper.lastPortionAt);
  const appetite = ate(hopper.appetite, grams(portion / 2), at, settings);
  if (!hopper.known || (hopper.fixedAt !== null && at <= hopper.fixedAt)) return { ...hopper, lastPortionAt, appetite };
  const lower = { ...hopper.belief, level: hopper.belief.level - portion / 2 };
  const belief = withinHopper(doubted(lower, { level: portion ** 2 / 12 + hopper.spreadVariance / 4 }), settings);
  return markEmpty({ ...hopper, belief, lastPortionAt, appetite }, at, settings);
}

/** All that fell before `at` has been told: the feeder's spool is empty. Lets the appetite fall when nobody comes. */
export function heardThrough(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const appetite = watchedUntil(hopper.appetite, at, settings, nobodyCanEat(hopper));
  return appetite === hopper.appetite ? hopper : { ...hopper, appetite };
}

/** The hopper is empty, or stands still as if it were: that nobody eats then says nothing about hunger. */
const nobodyCanEat = (hopper: HopperState): boolean => hopper.emptySince !== null || hopper.dryRun >= dryFrom;
/** So many portions in a row that gave nothing are no chance any more. */
export const dryFrom = 3;

// --- portions ------------------------------------------------------------------------------------------------------

/** Null where no sensor tells. */
function sawFall(portion: Portion, settings: FeederSettings, chuteBlind: boolean): boolean | null {
  if (portion.motorRan === 0) return false;
  if (!settings.sensors.chute || chuteBlind || portion.chuteCount === null) return null;
  return portion.chuteCount > 0;
}

function lowered(hopper: HopperState, proven: boolean, settings: FeederSettings): LevelBelief {
  const { belief } = hopper;
  // What isn't known well can't become much less known by changing slowly.
  const known = portionVariance(belief) < (portionWanderMost * belief.portion) ** 2;
  const wander = known ? (portionWander * belief.portion) ** 2 : 0;
  // What was seen to fall must have been there: by reckoning alone a portion that was taken for too heavy shows in this.
  const scarce = proven && !settings.sensors.scale && belief.level < 0.5 * Math.sqrt(levelVariance(belief));
  const held = scarce ? knownAbove(belief, belief.portion) : belief;
  const after = afterPortion(held, hopper.spreadVariance, wander);
  return withinHopper(scarce ? withPortionBounds(after, settings) : after, settings);
}

const saidPortionVariance = (settings: FeederSettings) =>
  ((isAssumed(settings, "portionMass") ? assumedPortionDoubt : saidPortionDoubt) * settings.portionMass) ** 2;

/** The keeper changed the portion: what was learnt about the old one is void, the level isn't. */
const portionSaidAnew = (hopper: HopperState, settings: FeederSettings): HopperState => ({
  ...hopper,
  belief: portionAnew(hopper.belief, settings.portionMass, saidPortionVariance(settings)),
  spreadVariance: (portionDoubt * settings.portionMass) ** 2,
  portionSaid: settings.portionMass,
});

// --- bounds --------------------------------------------------------------------------------------------------------

/** Heaped a little above the brim is possible, more isn't. */
export const brim = (settings: FeederSettings): number => 1.05 * settings.hopperCapacity;

export function withinHopper(belief: LevelBelief, settings: FeederSettings): LevelBelief {
  const level = Math.min(Math.max(belief.level, 0), brim(settings));
  return level === belief.level ? belief : { ...belief, level };
}

export function withPortionBounds(belief: LevelBelief, settings: FeederSettings): LevelBelief {
  const portion = Math.min(Math.max(belief.portion, 0.1 * settings.portionMass), 10 * settings.portionMass);
  return portion === belief.portion ? belief : { ...belief, portion };
}

/** Empty when the whole interval lies below the mark; filled again only well above it, so that the border doesn't flicker. */
export function markEmpty(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const level = levelOf(hopper, settings);
  if (level === null) return hopper;
  const mark = emptyMark(settings);
  if (hopper.emptySince === null) return level.high <= mark ? { ...hopper, emptySince: at } : hopper;
  return level.grams > 2 * mark || level.low > mark ? { ...hopper, emptySince: null } : hopper;
}
