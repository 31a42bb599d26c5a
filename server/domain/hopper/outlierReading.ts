import { type Instant, minutes, type Span, seconds } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { grams } from "../units.ts";
import { updateAppetiteByMeal } from "./appetite.ts";
import type { HopperState, PendingJump } from "./level.ts";
import { addVariance } from "./levelFilter.ts";
import { sameRefillWithin } from "./refill.ts";
import { restartLevel, type WeighingResult } from "./restartLevel.ts";
import { creepVariance } from "./scaleModel.ts";

/** A reading far off what was expected: by `off` grams, where `gate` would have been usual. */
export interface OutlierReading {
  readonly reading: number;
  readonly residual: number;
  readonly kelvinAboveTare: number; // K, of the cell, against its taring
  readonly at: Instant;
  readonly gate: number;
  readonly hasUnreportedEating: boolean; // birds eat without portion events
}

/**
 * What stays is believed: what was poured in, or what is gone. A bird sits there for seconds or minutes, and shifts its weight;
 * a gust is over at once. So the first reading only opens the question.
 */
export function updateByOutlier(hopper: HopperState, far: OutlierReading, settings: FeederSettings): WeighingResult {
  const { pendingJump } = hopper;
  const opened: PendingJump = {
    grams: hopper.estimate.level + far.residual,
    residual: far.residual,
    at: far.at,
    count: 1,
  };
  // A rise must have come to rest; a fall may go on, since birds may be eating.
  const agrees =
    pendingJump !== null &&
    pendingJump.residual > 0 === far.residual > 0 &&
    (far.residual < 0 ||
      Math.abs(far.residual - pendingJump.residual) <= Math.max(far.gate, restlessRate * far.residual));
  if (!agrees) return { hopper: { ...hopper, pendingJump: opened }, foundRefill: null };
  const again: PendingJump = {
    grams: opened.grams,
    residual: far.residual,
    at: pendingJump.at,
    count: pendingJump.count + 1,
  };
  const { readings, span } = requiredPersistence(hopper, far);
  if (again.count < readings || far.at - pendingJump.at < span)
    return { hopper: { ...hopper, pendingJump: again }, foundRefill: null };
  return far.residual > 0 ? applyRise(hopper, far, pendingJump.at, settings) : applyFall(hopper, far, settings);
}

/** A bird that sits still may weigh in two readings alike within so much of itself. */
const restlessRate = 0.02;

/** How often and how long what is new must be seen before it is believed. Common practice, no source. */
function requiredPersistence(
  hopper: HopperState,
  { residual, at }: OutlierReading,
): { readonly readings: number; readonly span: Span } {
  if (residual < 0 || isJustReported(hopper, at)) return { readings: 2, span: seconds(20) };
  // No corvid weighs so much or so little, and two at once don't sit still.
  if (residual < birdGramsMin || residual > birdGramsMax) return { readings: 3, span: minutes(2) };
  return { readings: 3, span: minutes(5) };
}
const birdGramsMin = 130;
const birdGramsMax = 700;

const isJustReported = (hopper: HopperState, at: Instant): boolean =>
  hopper.refillReportedAt !== null && at - hopper.refillReportedAt <= sameRefillWithin;

function applyRise(hopper: HopperState, far: OutlierReading, since: Instant, settings: FeederSettings): WeighingResult {
  const told = isJustReported(hopper, far.at);
  // So little nobody pours in: the lid was laden while nobody weighed, or something else lies there.
  if (!told && far.residual < refillShareMin * settings.hopperCapacity) {
    const laden = addVariance(hopper.estimate, { lid: far.residual * far.residual });
    return {
      hopper: restartLevel({ ...hopper, estimate: laden }, far, settings, far.residual * far.residual),
      foundRefill: null,
    };
  }
  const creeping = addVariance(hopper.estimate, { wander: creepVariance(far.residual) });
  const next = restartLevel({ ...hopper, estimate: creeping }, far, settings);
  const refillFound = told ? null : grams(far.residual);
  return { hopper: { ...next, foundRefill: { grams: far.residual, at: since } }, foundRefill: refillFound };
}
const refillShareMin = 0.03;

function applyFall(hopper: HopperState, far: OutlierReading, settings: FeederSettings): WeighingResult {
  const { estimate } = hopper;
  // What lay on the lid slid off: the food is as it was.
  if (estimate.lidLoad > 0.3 * -far.residual && -far.residual <= 2 * estimate.lidLoad + far.gate) {
    const slid = addVariance(estimate, { lid: far.residual * far.residual });
    return {
      hopper: restartLevel({ ...hopper, estimate: slid }, far, settings, 0),
      foundRefill: null,
    };
  }
  const next = restartLevel(hopper, far, settings);
  // What sank far and stayed there without portions was eaten unreported, unless it only takes back a rise just found.
  const takenBack = hopper.foundRefill !== null && far.at - hopper.foundRefill.at <= sameRefillWithin;
  if (!far.hasUnreportedEating || takenBack) return { hopper: next, foundRefill: null };
  return {
    hopper: { ...next, appetite: updateAppetiteByMeal(next.appetite, -far.residual, far.at, settings) },
    foundRefill: null,
  };
}
