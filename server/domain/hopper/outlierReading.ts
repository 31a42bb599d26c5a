import { type Instant, minutes, type Span, seconds } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { grams } from "../units.ts";
import { updateAppetiteByMeal } from "./appetite.ts";
import type { HopperState, PendingJump } from "./hopperState.ts";
import { emptyPortionsMin } from "./level.ts";
import { addVariance, type LevelEstimate, lidLoadVariance } from "./levelFilter.ts";
import { snowBelow } from "./lidLoad.ts";
import { restartLevel, type WeighingResult } from "./restartLevel.ts";
import { type RiseCause, riseCause } from "./riseCause.ts";
import { creepVariance } from "./scaleModel.ts";
import { outsideTemperature, type ScaleTemperatures } from "./scaleTemperatures.ts";
import { sameRefillSpan, startUnclearRise } from "./unclearRise.ts";

/** A reading far off what was expected: by `residual` grams, beyond the `gate`. */
export interface OutlierReading {
  readonly reading: number;
  readonly residual: number;
  readonly kelvinAboveTare: number; // K, of the cell, against its taring
  readonly at: Instant;
  readonly gate: number;
  readonly hasUnreportedEating: boolean; // birds eat without portion events
  readonly temperatures: ScaleTemperatures;
}

/**
 * A change that stays is accepted: food was poured in, or is gone. A bird sits there for seconds or minutes and moves; a gust
 * is over at once. So the first reading only starts the test.
 */
export function updateByOutlier(
  hopper: HopperState,
  outlier: OutlierReading,
  settings: FeederSettings,
): WeighingResult {
  const { pendingJump } = hopper;
  const first: PendingJump = {
    grams: hopper.estimate.level + outlier.residual,
    residual: outlier.residual,
    at: outlier.at,
    count: 1,
  };
  // A rise must have come to rest; a fall may go on, since birds may be eating.
  const isConsistent =
    pendingJump !== null &&
    pendingJump.residual > 0 === outlier.residual > 0 &&
    (outlier.residual < 0 ||
      Math.abs(outlier.residual - pendingJump.residual) <= Math.max(outlier.gate, movingBirdShare * outlier.residual));
  if (!isConsistent) return { hopper: { ...hopper, pendingJump: first }, foundRefill: null };
  const repeated: PendingJump = {
    grams: first.grams,
    residual: outlier.residual,
    at: pendingJump.at,
    count: pendingJump.count + 1,
  };
  const { readings, span } = requiredPersistence(hopper, outlier);
  if (repeated.count < readings || outlier.at - pendingJump.at < span)
    return { hopper: { ...hopper, pendingJump: repeated }, foundRefill: null };
  return outlier.residual > 0
    ? applyRise(hopper, outlier, pendingJump.at, settings)
    : applyFall(hopper, outlier, settings);
}

/** A bird that sits still may weigh in two readings alike within so much of itself. */
const movingBirdShare = 0.02;

/** A fall must stay so long. */
export const fallSpan = minutes(8);

/** How often and how long a change must be seen before it is accepted. Common practice, no source. */
function requiredPersistence(
  hopper: HopperState,
  { residual, at }: OutlierReading,
): { readonly readings: number; readonly span: Span } {
  if (isJustReported(hopper, at)) return { readings: 2, span: seconds(20) };
  // Nothing falls from the tray either: it isn't a hand that lifts the hopper.
  if (residual < 0 && hopper.emptyPortions >= emptyPortionsMin) return { readings: 2, span: seconds(20) };
  // A hand lifts the hopper for some minutes; snow slides off, or food is gone for good.
  if (residual < 0)
    return hopper.estimate.lidLoad > 0.3 * -residual
      ? { readings: 2, span: seconds(20) }
      : { readings: 3, span: fallSpan };
  // No corvid weighs so much or so little, and two at once don't sit still.
  if (residual < birdGramsMin || residual > birdGramsMax) return { readings: 3, span: minutes(2) };
  return { readings: 3, span: minutes(5) };
}
const birdGramsMin = 130;
const birdGramsMax = 700;

/** Somebody has told of a refill, and no reading since then counts yet. */
export const isJustReported = ({ refillReportedAt, weighedAt }: HopperState, at: Instant): boolean =>
  refillReportedAt !== null &&
  (at - refillReportedAt <= sameRefillSpan || weighedAt === null || weighedAt <= refillReportedAt);

function applyRise(
  hopper: HopperState,
  outlier: OutlierReading,
  since: Instant,
  settings: FeederSettings,
): WeighingResult {
  const isReported = isJustReported(hopper, outlier.at);
  const { residual, temperatures } = outlier;
  const from = hopper.weighedAt ?? since;
  const cause = riseCause(hopper, { grams: residual, from, at: since, isReported, temperatures }, settings);
  if (cause.kind !== "food") return { hopper: loadLid(hopper, outlier, since, settings, cause), foundRefill: null };
  const withCreep = addVariance(hopper.estimate, { zeroDrift: creepVariance(residual) });
  const told = isReported ? toldRise({ ...hopper, estimate: withCreep }, outlier) : null;
  const restarted =
    told === null
      ? restartLevel({ ...hopper, estimate: withCreep }, outlier, settings)
      : restartLevel({ ...hopper, estimate: told, toldLevel: null }, outlier, settings, 0);
  const refillFound = isReported ? null : grams(residual);
  // Whoever tells of this refill would have told of the one before.
  const unclearRise = isReported ? null : restarted.unclearRise;
  return {
    hopper: { ...restarted, unclearRise, foundRefill: { grams: residual, at: since } },
    foundRefill: refillFound,
  };
}

/**
 * The estimate with what was told to be added: the reading then shares out what doesn't fit between the food and the snow that may have come.
 * What lay on the lid is gone where that fits better. Null where it isn't cold, or where the word is far off.
 */
function toldRise(hopper: HopperState, { residual, gate, temperatures }: OutlierReading): LevelEstimate | null {
  const { toldLevel, estimate } = hopper;
  const outside = outsideTemperature(temperatures);
  if (toldLevel === null || outside === null || outside >= snowBelow) return null;
  const load = Math.max(estimate.lidLoad, 0);
  const offKept = Math.abs(residual - (toldLevel.grams - estimate.level));
  const offGone = Math.abs(residual - (toldLevel.grams - estimate.level - load));
  const variance = toldLevel.deviation ** 2;
  if (Math.min(offKept, offGone) > farOff * Math.sqrt(variance + lidLoadVariance(estimate) + gate ** 2)) return null;
  const raised = { ...estimate, level: toldLevel.grams };
  return offGone < offKept
    ? addVariance({ ...raised, lidLoad: 0 }, { level: variance, lidLoad: (brushedOff * load) ** 2 })
    : addVariance(raised, { level: variance });
}
const farOff = 3;
/** Of a load that was thrown off: so much may be left. Common practice, no source. */
const brushedOff = 0.1;

/** The rise lies on the lid, and the food is as it was. */
function loadLid(
  hopper: HopperState,
  outlier: OutlierReading,
  since: Instant,
  settings: FeederSettings,
  cause: Exclude<RiseCause, { kind: "food" }>,
): HopperState {
  const withLidLoad = addVariance(hopper.estimate, { lidLoad: outlier.residual * outlier.residual });
  const restarted = restartLevel({ ...hopper, estimate: withLidLoad }, outlier, settings, 0);
  return cause.kind === "load"
    ? restarted
    : {
        ...restarted,
        unclearRise: startUnclearRise(hopper.unclearRise, outlier.residual, cause.foodProbability, cause.isRain, since),
      };
}

function applyFall(hopper: HopperState, outlier: OutlierReading, settings: FeederSettings): WeighingResult {
  const { estimate } = hopper;
  // What lay on the lid slid off: the food is as it was.
  if (estimate.lidLoad > 0.3 * -outlier.residual && -outlier.residual <= 2 * estimate.lidLoad + outlier.gate) {
    const withoutLidLoad = addVariance(estimate, { lidLoad: outlier.residual * outlier.residual });
    return {
      hopper: restartLevel({ ...hopper, estimate: withoutLidLoad }, outlier, settings, 0),
      foundRefill: null,
    };
  }
  const restarted = restartLevel(hopper, outlier, settings);
  // What sank far and stayed there without portions was eaten unreported, unless it only ends a rise just found.
  const isTakenBack = hopper.foundRefill !== null && outlier.at - hopper.foundRefill.at <= sameRefillSpan;
  if (!outlier.hasUnreportedEating || isTakenBack) return { hopper: restarted, foundRefill: null };
  return {
    hopper: {
      ...restarted,
      appetite: updateAppetiteByMeal(restarted.appetite, -outlier.residual, outlier.at, settings),
    },
    foundRefill: null,
  };
}
