import type { ReportedRefill } from "../facts.ts";
import { hours, type Instant, minutes } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { appetiteForecast, expectedEaten } from "./appetite.ts";
import type { ToldLevel } from "./hopperState.ts";
import { clampLevel, type HopperState, updateEmptySince } from "./level.ts";
import { levelVariance, updateByMeasurement } from "./levelFilter.ts";
import { updateRealisedError } from "./realisedError.ts";
import { sameRefillSpan, updateUnclearRiseByWord } from "./unclearRise.ts";
import { tellUnseen } from "./unseenRefill.ts";

/**
 * A refill reported by the keeper or by the feeder. Where the scale is read, it shows what went in, and the word only says what made it rise;
 * else the word is weighed against what else may have happened (unseenRefill.ts).
 */
export function updateHopperByRefill(
  hopper: HopperState,
  refill: ReportedRefill,
  settings: FeederSettings,
): HopperState {
  const { at, what } = refill;
  const { refillReportedAt } = hopper;
  const before = {
    ...hopper,
    refillReportedAt: refillReportedAt === null || at > refillReportedAt ? at : refillReportedAt,
    pendingJump: null,
    levelBeforeDry: null,
  };
  if (isWeighed(hopper, at)) {
    const unweighedWord = hopper.weighedAt !== null && at > hopper.weighedAt ? refill : before.unweighedWord;
    const toldAlready = { ...before, toldLevel: toldLevel(hopper, refill, settings), unweighedWord, emptyPortions: 0 };
    const told = updateUnclearRiseByWord(toldAlready, at);
    return what.kind === "level" ? compareByScale(told, what.grams, settings) : told;
  }
  // Of a time before the level was last told: that says more.
  if (what.kind !== "added" && hopper.levelMeasuredAt !== null && at < hopper.levelMeasuredAt) return before;
  return believe(before, refill, settings);
}

/** The scale, which would have shown what was told, wasn't read any more: after a while the word counts all the same. */
export function believeUnweighedWord(hopper: HopperState, now: Instant, settings: FeederSettings): HopperState {
  const { unweighedWord } = hopper;
  if (unweighedWord === null || now - unweighedWord.at < weighedWithin) return hopper;
  return believe({ ...hopper, unweighedWord: null }, unweighedWord, settings);
}
const weighedWithin = minutes(15);

function believe(hopper: HopperState, refill: ReportedRefill, settings: FeederSettings): HopperState {
  const told = tellUnseen(hopper, refill, expectedEatenSince(hopper, refill.at, settings), settings);
  return updateEmptySince({ ...told, emptyPortions: 0, emptySince: null }, refill.at, settings);
}

/** The scale was read after it, or will soon be. */
const isWeighed = ({ weighedAt }: HopperState, at: Instant): boolean =>
  weighedAt !== null && at - weighedAt <= weighedAgoMax;
const weighedAgoMax = hours(1);

/** What the level is by this word; null where the scale has already shown what went in. */
function toldLevel(
  { estimate, foundRefill }: HopperState,
  { at, what }: ReportedRefill,
  { hopperCapacity }: FeederSettings,
): ToldLevel | null {
  if (foundRefill !== null && Math.abs(at - foundRefill.at) <= sameRefillSpan) return null;
  if (what.kind === "filled") return { grams: 0.95 * hopperCapacity, deviation: filledDeviation * hopperCapacity, at };
  if (what.kind === "level") return { grams: what.grams, deviation: seenDeviation(what.grams, hopperCapacity), at };
  return { grams: estimate.level + what.grams, deviation: addedDeviation * what.grams, at };
}
/** Of the capacity: how full "full" is, and how well a capacity is known. Common practice, no source. */
const filledDeviation = 0.1;
/** Of what was added, by a cup or a kitchen scale. Common practice, no source. */
const addedDeviation = 0.25;
/** g. "Empty" is seen for certain, "half full" is judged by eye. Common practice, no source. */
const seenDeviation = (seen: number, capacity: number): number => 0.005 * capacity + 0.12 * seen;

/**
 * A level as a keeper saw it teaches the scale's zero a little, where the two don't contradict each other. The same eye errs the same way each
 * time, so it counts for less than a measurement.
 */
function compareByScale(hopper: HopperState, seen: number, settings: FeederSettings): HopperState {
  const variance = 2 * seenDeviation(seen, settings.hopperCapacity) ** 2;
  const score = (seen - hopper.estimate.level) / Math.sqrt(levelVariance(hopper.estimate) + variance);
  if (Math.abs(score) > contradictionMin) return hopper;
  const realisedError = updateRealisedError(hopper.realisedError, score);
  const estimate = clampLevel(updateByMeasurement(hopper.estimate, seen, variance), settings);
  return { ...hopper, estimate, realisedError };
}
/** In standard deviations: the keeper may have erred in the amount, the time or the feeder. */
const contradictionMin = 2.5;

/** Grams by the learnt rate, since single portions of the past aren't stored. */
function expectedEatenSince(hopper: HopperState, at: Instant, settings: FeederSettings): number {
  if (hopper.lastPortionAt === null || hopper.lastPortionAt <= at) return 0;
  const forecast = appetiteForecast(hopper.appetite, settings);
  return forecast === null ? 0 : expectedEaten(forecast, settings, at, hopper.lastPortionAt);
}
