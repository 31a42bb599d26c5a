import type { Portion, ToldRefill } from "../facts.ts";
import type { FeederSettings } from "../feeder.ts";
import { between, days, type Instant, inDays, minutes, seconds } from "../instant.ts";
import { type Grams, grams } from "../units.ts";
import { type Appetite, ate, eatingRate, unknownAppetite, watchedUntil } from "./appetite.ts";
import { afterMeasurement, afterPortion, type LevelBelief } from "./levelFilter.ts";

/**
 * How much is in the hopper. Portions are subtracted by dead reckoning, a scale (if there is one) and the keeper's word
 * correct it, and both teach what a portion weighs. Nothing is claimed before one of them has said where to start.
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
const portionDoubt = 0.3;
/** Food and wear change the mean portion slowly: 0.2 % a portion, so about 2 % over a day of a hundred. */
const portionWander = 0.002;
/** 5 % and 95 % of a normal distribution, for the 90 % interval. */
export const ninetyPercent = 1.6449;
/** Told within this time of a rise that the scale found, it is the same refill. */
const sameRefillWithin = minutes(30);
/** A bird on the perch leaves again; a gust is over. So a jump must still be there this much later, in another reading. */
const jumpPersists = seconds(20);
/** After this long without a portion event the birds, if the scale sinks, eat without being reported. */
const portionsMissingAfter = days(2);

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
  const bounded = (mass: number) => grams(Math.min(Math.max(mass, 0), brim(settings)));
  const { level } = hopper.belief;
  return { grams: bounded(level), low: bounded(level - reach), high: bounded(level + reach) };
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

export interface Weighed {
  readonly hopper: HopperState;
  /** What somebody poured in without a word; null where nothing was, or where the keeper has told of it. */
  readonly refillFound: Grams | null;
}

/**
 * The scale said something. A reading far off what is believed is believed only when another one agrees: a bird on the
 * perch adds 200 to 500 g and leaves again. Snow on the lid stays, and is taken for food: a weakness until the lid's
 * temperature is weighed in.
 */
export function weighed(hopper: HopperState, reading: Grams, at: Instant, settings: FeederSettings): Weighed {
  const same = { hopper, refillFound: null };
  if (!settings.sensors.scale || liftedOff(reading, settings)) return same;
  // Older than what is known: what fell or was filled in since isn't in it.
  if (
    (hopper.fixedAt !== null && at < hopper.fixedAt) ||
    (hopper.lastPortionAt !== null && at < hopper.lastPortionAt)
  ) {
    return same;
  }
  const heard = heardThrough(hopper, at);
  if (!hopper.known) return { hopper: startedAt(heard, reading, at, settings), refillFound: null };

  const noise = scaleNoise(settings);
  const predicted = wandered(heard, at, settings);
  const total = predicted.belief.levelVariance + noise * noise;
  const off = reading - predicted.belief.level;
  const gate = Math.max(5 * Math.sqrt(total), 0.02 * settings.hopperCapacity, 20);
  if (Math.abs(off) > gate) return jumped(predicted, reading, at, off, gate, settings);

  const corrected = withinHopper(afterMeasurement(predicted.belief, reading, noise * noise), settings);
  const measured: HopperState = {
    ...predicted,
    belief: withPortionBounds(corrected, settings),
    spreadVariance: learntSpread(predicted, off, total),
    portionsSinceWeighed: 0,
    weighedAt: at,
    fixedAt: at,
    jump: null,
    appetite: eatsUnreported(hopper, at)
      ? ate(predicted.appetite, hopper.belief.level - corrected.level, at)
      : predicted.appetite,
  };
  return { hopper: markEmpty(measured, at, settings), refillFound: null };
}

/**
 * The keeper, or the feeder on the keeper's behalf, told of a refill. One that the scale found within half an hour is
 * the same refill: then the scale knows better how much it was.
 */
export function refilled(hopper: HopperState, refill: ToldRefill, settings: FeederSettings): HopperState {
  const at = refill.at;
  const told = { ...hopper, toldAt: hopper.toldAt === null || at > hopper.toldAt ? at : hopper.toldAt, jump: null };
  if (foundAlready(hopper, refill, settings)) return told;
  switch (refill.what.kind) {
    case "added":
      return markEmpty(added(told, refill.what.grams, at, settings), at, settings);
    case "filled":
      // "To the brim" is judged by eye: right within 5 %. Common practice, no source.
      return measuredByKeeper(told, settings.hopperCapacity, 0.05 * settings.hopperCapacity, at, settings, false);
    case "level": {
      // "Empty" is seen for certain, "half full" is judged by eye. Common practice, no source.
      const doubt = Math.min(0.005 * settings.hopperCapacity + 0.1 * refill.what.grams, 0.05 * settings.hopperCapacity);
      return measuredByKeeper(told, refill.what.grams, doubt, at, settings, true);
    }
  }
}

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

// --- scale ---------------------------------------------------------------------------------------------------------

/** Far below zero the hopper has been lifted off its cell, or the cell is broken: no word about the food. */
const liftedOff = (reading: number, settings: FeederSettings) =>
  reading < -Math.max(50, 0.05 * settings.hopperCapacity);

const eatsUnreported = (hopper: HopperState, at: Instant) =>
  hopper.lastPortionAt === null || at - hopper.lastPortionAt > portionsMissingAfter;

/** Between readings the zero wanders; and where birds eat without portion events the level itself does. */
function wandered(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const last = hopper.weighedAt ?? hopper.fixedAt;
  if (last === null || at <= last) return hopper;
  const perDay = eatsUnreported(hopper, at) ? 0.1 * settings.hopperCapacity : scaleDrift(settings);
  const levelVariance = hopper.belief.levelVariance + perDay * perDay * inDays(between(last, at));
  return { ...hopper, belief: { ...hopper.belief, levelVariance } };
}

function startedAt(hopper: HopperState, reading: number, at: Instant, settings: FeederSettings): HopperState {
  const belief = { ...hopper.belief, level: reading, levelVariance: scaleNoise(settings) ** 2, covariance: 0 };
  return markEmpty(
    {
      ...hopper,
      known: true,
      belief: withinHopper(belief, settings),
      portionsSinceWeighed: 0,
      weighedAt: at,
      fixedAt: at,
      jump: null,
    },
    at,
    settings,
  );
}

function jumped(
  hopper: HopperState,
  reading: number,
  at: Instant,
  off: number,
  gate: number,
  settings: FeederSettings,
): Weighed {
  const { jump } = hopper;
  const sameSide = jump !== null && jump.grams > hopper.belief.level === off > 0;
  if (!jump || !sameSide) return { hopper: { ...hopper, jump: { grams: reading, at } }, refillFound: null };
  // A rise must have come to rest, a bird shifts on its perch; a fall may go on, since birds may be eating.
  const settled = off < 0 || Math.abs(reading - jump.grams) <= gate / 2;
  if (!settled) return { hopper: { ...hopper, jump: { grams: reading, at } }, refillFound: null };
  if (at - jump.at < jumpPersists) return { hopper, refillFound: null };

  const started = startedAt(hopper, reading, at, settings);
  if (off > 0) {
    const told = hopper.toldAt !== null && at - hopper.toldAt <= sameRefillWithin;
    return { hopper: { ...started, found: { grams: off, at } }, refillFound: told ? null : grams(off) };
  }
  // What sank far and stayed there without portions was eaten unreported, unless it only takes back a rise just found.
  const takenBack = hopper.found !== null && at - hopper.found.at <= sameRefillWithin;
  const appetite = eatsUnreported(hopper, at) && !takenBack ? ate(started.appetite, -off, at) : started.appetite;
  return { hopper: { ...started, appetite }, refillFound: null };
}

/**
 * Where innovations are larger or smaller than foreseen, a single portion's spread was set too small or too large: as far
 * as that spread, and not the scale's noise, made up what was foreseen.
 */
function learntSpread(hopper: HopperState, off: number, total: number): number {
  const share = (hopper.portionsSinceWeighed * hopper.spreadVariance) / total;
  if (share <= 0) return hopper.spreadVariance;
  const surprise = Math.min((off * off) / total, 9) - 1;
  const learnt = hopper.spreadVariance * (1 + 0.05 * Math.min(share, 1) * surprise);
  const mean = hopper.belief.portion;
  return Math.min(Math.max(learnt, (0.05 * mean) ** 2), mean * mean);
}

// --- refills -------------------------------------------------------------------------------------------------------

/** The scale found this very refill: about then and about as much. */
function foundAlready(hopper: HopperState, { at, what }: ToldRefill, settings: FeederSettings): boolean {
  const { found } = hopper;
  if (found === null || Math.abs(at - found.at) > sameRefillWithin) return false;
  if (what.kind === "added") return found.grams >= 0.5 * what.grams;
  const level = what.kind === "filled" ? settings.hopperCapacity : what.grams;
  return Math.abs(level - hopper.belief.level) <= 0.25 * settings.hopperCapacity;
}

function added(hopper: HopperState, mass: number, at: Instant, settings: FeederSettings): HopperState {
  if (!hopper.known) {
    // What was in it before isn't known; keepers refill what is nearly empty.
    const levelVariance = (0.15 * settings.hopperCapacity) ** 2;
    const belief = { ...hopper.belief, level: mass, levelVariance, covariance: 0 };
    return { ...hopper, known: true, fixedAt: at, belief: withinHopper(belief, settings) };
  }
  // The scale weighed after it was poured in: it is in the reading already.
  if (hopper.weighedAt !== null && at < hopper.weighedAt) return hopper;
  const doubt = 0.05 * mass; // a kitchen scale or a scoop; common practice, no source
  const levelVariance = hopper.belief.levelVariance + doubt * doubt;
  const belief = { ...hopper.belief, level: hopper.belief.level + mass, levelVariance };
  return { ...hopper, belief: withinHopper(belief, settings) };
}

function measuredByKeeper(
  hopper: HopperState,
  mass: number,
  doubt: number,
  at: Instant,
  settings: FeederSettings,
  teaches: boolean, // whether what was reckoned before can be compared with it: not where food was poured in
): HopperState {
  if (hopper.fixedAt !== null && at < hopper.fixedAt) return hopper;
  // Told late: what fell since then was subtracted from a level that no longer counts, so it is reckoned anew.
  const since = eatenSince(hopper, at, settings);
  const now = mass - since;
  const variance = doubt * doubt + (0.5 * since) ** 2;
  const total = hopper.belief.levelVariance + variance;
  const near = hopper.known && Math.abs(now - hopper.belief.level) <= 3 * Math.sqrt(total);
  const belief =
    teaches && near
      ? withPortionBounds(afterMeasurement(hopper.belief, now, variance), settings)
      : { ...hopper.belief, level: now, levelVariance: variance, covariance: 0 };
  const measured = { ...hopper, known: true, fixedAt: at, belief: withinHopper(belief, settings) };
  return markEmpty(measured, at, settings);
}

/** Grams by the learnt rate, since single portions of the past aren't kept. */
function eatenSince(hopper: HopperState, at: Instant, settings: FeederSettings): number {
  if (hopper.lastPortionAt === null || hopper.lastPortionAt <= at) return 0;
  const rate = eatingRate(hopper.appetite, hopper.belief.portion, Math.sqrt(hopper.spreadVariance), settings);
  return (rate?.mean ?? 0) * inDays(between(at, hopper.lastPortionAt));
}

// --- bounds --------------------------------------------------------------------------------------------------------

/** Heaped a little above the brim is possible, more isn't. */
const brim = (settings: FeederSettings) => 1.05 * settings.hopperCapacity;

function withinHopper(belief: LevelBelief, settings: FeederSettings): LevelBelief {
  const level = Math.min(Math.max(belief.level, 0), brim(settings));
  return level === belief.level ? belief : { ...belief, level };
}

function withPortionBounds(belief: LevelBelief, settings: FeederSettings): LevelBelief {
  const portion = Math.min(Math.max(belief.portion, 0.1 * settings.portionMass), 10 * settings.portionMass);
  return portion === belief.portion ? belief : { ...belief, portion };
}

/** Empty when the whole interval lies below the mark; filled again only well above it, so that the border doesn't flicker. */
function markEmpty(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const level = levelOf(hopper, settings);
  if (level === null) return hopper;
  const mark = emptyMark(settings);
  if (hopper.emptySince === null) return level.high <= mark ? { ...hopper, emptySince: at } : hopper;
  return level.grams > 2 * mark || level.low > mark ? { ...hopper, emptySince: null } : hopper;
}
