import type { FeederSettings } from "../feeder.ts";
import { between, days, type Instant, inDays, seconds } from "../instant.ts";
import { type Grams, grams } from "../units.ts";
import { ate } from "./appetite.ts";
import {
  type HopperState,
  heardThrough,
  markEmpty,
  scaleDrift,
  scaleNoise,
  withinHopper,
  withPortionBounds,
} from "./level.ts";
import { afterMeasurement } from "./levelFilter.ts";
import { sameRefillWithin } from "./refill.ts";

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

/** A bird on the perch leaves again; a gust is over. So a jump must still be there this much later, in another reading. */
const jumpPersists = seconds(20);
/** After this long without a portion event the birds, if the scale sinks, eat without being reported. */
const portionsMissingAfter = days(2);

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
