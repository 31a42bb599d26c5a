import { isAssumed } from "../assumed.ts";
import type { ToldRefill } from "../facts.ts";
import { type Instant, minutes } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { expectedEaten, outlookOf } from "./appetite.ts";
import { brim, dryFrom, emptyMark, type HopperState, markEmpty, withinHopper, withPortionBounds } from "./level.ts";
import { afterMeasurement, doubted, knownBelow, type LevelBelief, levelAnew, levelVariance } from "./levelFilter.ts";

/**
 * The keeper, or the feeder on the keeper's behalf, told of a refill. One that the scale found within half an hour is
 * the same refill: then the scale knows better how much it was.
 */
export function refilled(hopper: HopperState, refill: ToldRefill, settings: FeederSettings): HopperState {
  const at = refill.at;
  const before = { ...hopper, toldAt: hopper.toldAt === null || at > hopper.toldAt ? at : hopper.toldAt, jump: null };
  if (foundAlready(hopper, refill, settings)) return { ...before, dryRun: 0 };
  const told = { ...(refill.what.kind === "level" ? before : ranDry(before, settings)), dryRun: 0 };
  switch (refill.what.kind) {
    case "added":
      return markEmpty(added(told, refill.what.grams, at, settings), at, settings);
    case "filled":
      // "To the brim" is judged by eye: right within 3 %. Common practice, no source.
      return measuredByKeeper(
        told,
        {
          mass: settings.hopperCapacity,
          doubt: brimDoubt(settings) * settings.hopperCapacity,
          at,
          teaches: saidHowMuch(told, at),
        },
        settings,
      );
    case "level": {
      // "Empty" is seen for certain, "half full" is judged by eye. Common practice, no source.
      const doubt = Math.min(0.005 * settings.hopperCapacity + 0.1 * refill.what.grams, 0.03 * settings.hopperCapacity);
      return measuredByKeeper(told, { mass: refill.what.grams, doubt, at, teaches: true }, settings);
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

/** Of the capacity. What a full one holds may as well be half as much again, or half of it, where nobody has said. */
const brimDoubt = (settings: FeederSettings): number => (isAssumed(settings, "hopperCapacity") ? 0.3 : 0.03);

/** How much was poured in has been told too: then "full" can be compared with what was reckoned. */
const saidHowMuch = ({ addedAt }: HopperState, at: Instant): boolean =>
  addedAt !== null && Math.abs(at - addedAt) <= sameRefillWithin;

/**
 * Portion after portion fell nothing, by reckoning little was left, and now somebody refills: it had run dry. That tells how
 * much the portions weighed since the level was last known.
 */
function ranDry(hopper: HopperState, settings: FeederSettings): HopperState {
  if (!hopper.known || hopper.dryRun < dryFrom || settings.sensors.scale) return hopper;
  const corners = 0.25 * emptyMark(settings); // g, what no tray reaches
  const variance = corners * corners;
  if (hopper.belief.level > 2.5 * Math.sqrt(levelVariance(hopper.belief) + variance)) return hopper; // a jam, then
  const belief = withPortionBounds(afterMeasurement(hopper.belief, 0, variance), settings);
  return { ...hopper, belief: withinHopper(belief, settings) };
}

function added(hopper: HopperState, mass: number, at: Instant, settings: FeederSettings): HopperState {
  if (!hopper.known) {
    // What was in it before isn't known; keepers refill what is nearly empty.
    const belief = levelAnew(hopper.belief, mass, (0.15 * settings.hopperCapacity) ** 2);
    return { ...hopper, known: true, fixedAt: at, addedAt: at, belief: withinHopper(belief, settings) };
  }
  // The scale weighed after it was poured in: it is in the reading already.
  if (hopper.weighedAt !== null && at < hopper.weighedAt) return hopper;
  const doubt = 0.03 * mass; // a kitchen scale or a scoop; common practice, no source
  const heaped = doubted({ ...hopper.belief, level: hopper.belief.level + mass }, { level: doubt * doubt });
  // It went in, so there was room for it.
  const near = heaped.level + Math.sqrt(levelVariance(heaped)) > brim(settings);
  const belief = near ? withPortionBounds(knownBelow(heaped, brim(settings)), settings) : heaped;
  return { ...hopper, addedAt: at, belief: withinHopper(filledUp(belief, mass, settings), settings) };
}

/**
 * Who pours in much does it to fill up, more or less. Nothing else corrects a level that is only reckoned from portions for
 * weeks; one that is weighed, or well known, doesn't heed it. Common practice, no source.
 */
function filledUp(belief: LevelBelief, mass: number, settings: FeederSettings): LevelBelief {
  const { hopperCapacity, sensors } = settings;
  if (sensors.scale || mass < 0.3 * hopperCapacity || isAssumed(settings, "hopperCapacity")) return belief;
  return withPortionBounds(afterMeasurement(belief, 0.85 * hopperCapacity, (0.15 * hopperCapacity) ** 2), settings);
}

/** The level as a keeper saw it. */
interface KeeperMeasurement {
  readonly mass: number; // g
  readonly doubt: number; // g, standard deviation
  readonly at: Instant;
  readonly teaches: boolean; // whether what was reckoned before can be compared with it: not where food was poured in
}

function measuredByKeeper(
  hopper: HopperState,
  { mass, doubt, at, teaches }: KeeperMeasurement,
  settings: FeederSettings,
): HopperState {
  if (hopper.fixedAt !== null && at < hopper.fixedAt) return hopper;
  // Told late: what fell since then was subtracted from a level that no longer counts, so it is reckoned anew.
  const since = eatenSince(hopper, at, settings);
  const now = mass - since;
  const variance = doubt * doubt + (0.5 * since) ** 2;
  const total = levelVariance(hopper.belief) + variance;
  const near = hopper.known && Math.abs(now - hopper.belief.level) <= 3 * Math.sqrt(total);
  const belief =
    teaches && near
      ? withPortionBounds(afterMeasurement(hopper.belief, now, variance), settings)
      : levelAnew(hopper.belief, now, variance);
  const measured = { ...hopper, known: true, fixedAt: at, belief: withinHopper(belief, settings) };
  return markEmpty(measured, at, settings);
}

/** Grams by the learnt rate, since single portions of the past aren't kept. */
function eatenSince(hopper: HopperState, at: Instant, settings: FeederSettings): number {
  if (hopper.lastPortionAt === null || hopper.lastPortionAt <= at) return 0;
  const outlook = outlookOf(hopper.appetite, settings);
  return outlook === null ? 0 : expectedEaten(outlook, settings, at, hopper.lastPortionAt);
}
