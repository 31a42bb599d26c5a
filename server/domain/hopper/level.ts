import type { Portion } from "../facts.ts";
import type { FeederSettings } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import { type Grams, grams } from "../units.ts";
import { type Appetite, ate, unknownAppetite, watchedUntil } from "./appetite.ts";
import { afterPortion, type LevelBelief } from "./levelFilter.ts";

/**
 * How much is in the hopper. Portions are subtracted by dead reckoning, a scale if there is one (weighing.ts) and the
 * keeper's word (refill.ts) correct it, and both teach what a portion weighs. Nothing is claimed before one of them has said where to start.
 */
export interface HopperState {
  readonly known: boolean; // false until a scale or a refill has told where to start; `belief.level` means nothing until then
  readonly belief: LevelBelief;
  readonly spreadVariance: number; // g², of a single portion around the mean portion
  readonly portionSaid: number; // g, what the keeper had said a portion weighs when learning began
  readonly portionsSinceWeighed: number;
  readonly lastPortionAt: Instant | null;
  readonly weighedAt: Instant | null; // the last reading that was believed
  readonly fixedAt: Instant | null; // the level as measured then holds all that fell before
  readonly jump: { readonly grams: number; readonly at: Instant } | null; // a reading far off, not yet believed
  readonly found: { readonly grams: number; readonly at: Instant } | null; // the last refill that the scale found
  readonly toldAt: Instant | null; // when the keeper last told of one
  readonly emptySince: Instant | null;
  readonly appetite: Appetite;
}

/** A point and the interval that holds the truth nine times in ten. All within 0 and 105 % of the capacity. */
export interface HopperLevel {
  readonly grams: Grams;
  readonly low: Grams;
  readonly high: Grams;
}

/** A keeper's "about 8 g" is taken to be right within 30 %, and so is one portion against the next. Common practice, no source. */
export const portionDoubt = 0.3;
/** Food and wear change the mean portion slowly: 0.2 % a portion, so about 2 % over a day of a hundred. */
const portionWander = 0.002;
/** 5 % and 95 % of a normal distribution, for the 90 % interval. */
export const ninetyPercent = 1.6449;

/**
 * Noise of one reading: wind on the roof and birds landing, not the cell's own noise (below 1 g for a common bar cell
 * with a 24-bit converter). Common practice, no source.
 */
export const scaleNoise = (settings: FeederSettings): number => Math.max(4, 0.002 * settings.hopperCapacity);
/**
 * Slow error of the scale's zero over a day's swing of 10 to 20 °C: data sheets say 0.05 % of full scale per 10 °C, a
 * public design note four to ten times as much (references, load cell). It is not averaged away by many readings, so it
 * stays in the interval. At least 5 g, since a small hopper may hang on a large cell.
 */
export const scaleDrift = (settings: FeederSettings): number => Math.max(5, 0.005 * settings.hopperCapacity);
/** Below this the hopper gives no full portion any more: what is left lies in the corners. */
export const emptyMark = (settings: FeederSettings): Grams =>
  grams(Math.max(2 * settings.portionMass, 0.02 * settings.hopperCapacity));

export function unknownHopper(settings: FeederSettings, now: Instant): HopperState {
  return {
    known: false,
    belief: { level: 0, levelVariance: 0, covariance: 0, ...saidPortion(settings) },
    spreadVariance: (portionDoubt * settings.portionMass) ** 2,
    portionSaid: settings.portionMass,
    portionsSinceWeighed: 0,
    lastPortionAt: null,
    weighedAt: null,
    fixedAt: null,
    jump: null,
    found: null,
    toldAt: null,
    emptySince: null,
    appetite: unknownAppetite(now),
  };
}

export function levelOf(hopper: HopperState, settings: FeederSettings): HopperLevel | null {
  if (!hopper.known) return null;
  const drift = hopper.weighedAt === null ? 0 : scaleDrift(settings);
  const reach = ninetyPercent * Math.sqrt(hopper.belief.levelVariance + drift * drift);
  const most = brim(settings);
  const { level } = hopper.belief;
  return {
    grams: grams(Math.min(Math.max(level, 0), most)),
    low: grams(Math.min(Math.max(level - reach, 0), most)),
    high: grams(Math.min(Math.max(level + reach, 0), most)),
  };
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
  if (droppedNothing(portion, settings, chuteBlind)) {
    return { ...learning, appetite: watchedUntil(learning.appetite, at) };
  }
  const counts = learning.known && (learning.fixedAt === null || at > learning.fixedAt);
  const wander = (portionWander * learning.belief.portion) ** 2;
  const belief = counts
    ? withinHopper(afterPortion(learning.belief, learning.spreadVariance, wander), settings)
    : learning.belief;
  const next: HopperState = {
    known: learning.known,
    belief,
    spreadVariance: learning.spreadVariance,
    portionSaid: learning.portionSaid,
    portionsSinceWeighed: counts ? learning.portionsSinceWeighed + 1 : learning.portionsSinceWeighed,
    lastPortionAt: learning.lastPortionAt === null || at > learning.lastPortionAt ? at : learning.lastPortionAt,
    weighedAt: learning.weighedAt,
    fixedAt: learning.fixedAt,
    jump: learning.jump,
    found: learning.found,
    toldAt: learning.toldAt,
    emptySince: learning.emptySince,
    appetite: ate(learning.appetite, learning.belief.portion, at),
  };
  return counts ? markEmpty(next, at, settings) : next;
}

/** All that fell before `at` has been told: the feeder's spool is empty. Lets the appetite fall when nobody comes. */
export const heardThrough = (hopper: HopperState, at: Instant): HopperState => ({
  ...hopper,
  appetite: watchedUntil(hopper.appetite, at),
});

// --- portions ------------------------------------------------------------------------------------------------------

function droppedNothing(portion: Portion, settings: FeederSettings, chuteBlind: boolean): boolean {
  if (portion.motorRan === 0) return true;
  return settings.sensors.chute && !chuteBlind && portion.chuteCount === 0;
}

const saidPortion = (settings: FeederSettings) => ({
  portion: settings.portionMass as number,
  portionVariance: (portionDoubt * settings.portionMass) ** 2,
});

/** The keeper changed the portion: what was learnt about the old one is void, the level isn't. */
const portionSaidAnew = (hopper: HopperState, settings: FeederSettings): HopperState => ({
  ...hopper,
  belief: { ...hopper.belief, ...saidPortion(settings), covariance: 0 },
  spreadVariance: (portionDoubt * settings.portionMass) ** 2,
  portionSaid: settings.portionMass,
});

// --- bounds --------------------------------------------------------------------------------------------------------

/** Heaped a little above the brim is possible, more isn't. */
const brim = (settings: FeederSettings) => 1.05 * settings.hopperCapacity;

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
