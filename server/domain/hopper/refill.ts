import type { ToldRefill } from "../facts.ts";
import type { FeederSettings } from "../feeder.ts";
import { between, type Instant, inDays, minutes } from "../instant.ts";
import { eatingRate } from "./appetite.ts";
import { type HopperState, markEmpty, withinHopper, withPortionBounds } from "./level.ts";
import { afterMeasurement } from "./levelFilter.ts";

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

/** Told within this time of a rise that the scale found, it is the same refill. */
export const sameRefillWithin = minutes(30);

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
