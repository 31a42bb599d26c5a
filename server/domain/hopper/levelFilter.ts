import { decay } from "../decay.ts";
import { logNormalTail, logSqrtTwoPi } from "../normalTail.ts";

/**
 * Six quantities estimated together, since an error of one looks like another to a scale: how much is in the hopper, what a
 * portion weighs, how the scale's zero changes with the temperature, its constant offset, its drift by now, and what lies on
 * the lid. A reading corrects all of them by their covariances (Kalman filter; with a portion and a scale that are known for
 * certain it is the scalar one of Welch & Bishop, TR 95-041).
 */
export interface LevelEstimate {
  readonly level: number; // g
  readonly portion: number; // g, mean of one portion
  readonly slope: number; // g/K, of the scale's zero
  readonly offset: number; // g, of its zero, for good: what the taring missed
  readonly zeroDrift: number; // g, of its zero now: hysteresis, lag, creep; comes and goes within hours
  readonly lidLoad: number; // g, what lies on the lid: snow
  readonly covariance: Covariance;
}

/**
 * The symmetric covariance of (level, portion, slope, offset, zeroDrift, lidLoad), its lower triangle row by row:
 * 0 | 1 2 | 3 4 5 | 6 7 8 9 | 10 11 12 13 14 | 15 16 17 18 19 20. In products of the units above.
 */
// biome-ignore format: one row of the triangle a line
export type Covariance = readonly [
  number,
  number, number,
  number, number, number,
  number, number, number, number,
  number, number, number, number, number,
  number, number, number, number, number, number,
];

/** Variances of independent quantities, in squares of the units above; left out: certain. */
export interface Variances {
  readonly level?: number;
  readonly portion?: number;
  readonly slope?: number;
  readonly offset?: number;
  readonly zeroDrift?: number;
  readonly lidLoad?: number;
}

// biome-ignore format: one row of the triangle a line
export const diagonalCovariance = ({ level = 0, portion = 0, slope = 0, offset = 0, zeroDrift = 0, lidLoad = 0 }: Variances): Covariance => [
  level,
  0, portion,
  0, 0, slope,
  0, 0, 0, offset,
  0, 0, 0, 0, zeroDrift,
  0, 0, 0, 0, 0, lidLoad,
];

export const levelVariance = ({ covariance }: LevelEstimate): number => covariance[0];
export const portionVariance = ({ covariance }: LevelEstimate): number => covariance[2];
/** g², between the level and the mean portion. */
export const levelPortionCovariance = ({ covariance }: LevelEstimate): number => covariance[1];
export const slopeVariance = ({ covariance }: LevelEstimate): number => covariance[5];
export const offsetVariance = ({ covariance }: LevelEstimate): number => covariance[9];
export const lidLoadVariance = ({ covariance }: LevelEstimate): number => covariance[20];

/** One portion fell: the level sinks by the mean portion, and this one portion's own spread adds to the variance. */
export function predictByPortion(
  estimate: LevelEstimate,
  spreadVariance: number,
  portionWander: number,
): LevelEstimate {
  const c = estimate.covariance;
  return {
    level: estimate.level - estimate.portion,
    portion: estimate.portion,
    slope: estimate.slope,
    offset: estimate.offset,
    zeroDrift: estimate.zeroDrift,
    lidLoad: estimate.lidLoad,
    // Portions err independently, so their spreads add as squares; the error of their mean is the same one each time.
    // biome-ignore format: one row of the triangle a line
    covariance: [
      Math.max(c[0] - 2 * c[1] + c[2] + spreadVariance, 0),
      c[1] - c[2], c[2] + portionWander,
      c[3] - c[4], c[4], c[5],
      c[6] - c[7], c[7], c[8], c[9],
      c[10] - c[11], c[11], c[12], c[13], c[14],
      c[15] - c[16], c[16], c[17], c[18], c[19], c[20],
    ],
  };
}

/** Changes by time alone: `kept` is the share that stays, the variances (g²) are added. */
export interface TimeStep {
  readonly levelDrop: number; // g
  readonly levelVariance: number;
  readonly zeroDriftKept: number;
  readonly zeroDriftVariance: number;
  readonly lidLoadKept: number;
  readonly lidLoadVariance: number;
}

export function predictByTime(estimate: LevelEstimate, step: TimeStep): LevelEstimate {
  const c = estimate.covariance;
  const { zeroDriftKept, lidLoadKept } = step;
  const lidVariance = lidLoadKept * lidLoadKept * c[20] + step.lidLoadVariance;
  const lidCovariances: typeof noLidCovariance =
    lidVariance < lidLoadMin
      ? noLidCovariance
      : [
          decay(lidLoadKept, c[15]),
          decay(lidLoadKept, c[16]),
          decay(lidLoadKept, c[17]),
          decay(lidLoadKept, c[18]),
          decay(lidLoadKept * zeroDriftKept, c[19]),
          lidVariance,
        ];
  return {
    level: estimate.level - step.levelDrop,
    portion: estimate.portion,
    slope: estimate.slope,
    offset: estimate.offset,
    zeroDrift: decay(zeroDriftKept, estimate.zeroDrift),
    lidLoad: lidVariance < lidLoadMin ? 0 : decay(lidLoadKept, estimate.lidLoad),
    // biome-ignore format: one row of the triangle a line
    covariance: [
      c[0] + step.levelVariance,
      c[1], c[2],
      c[3], c[4], c[5],
      c[6], c[7], c[8], c[9],
      decay(zeroDriftKept, c[10]), decay(zeroDriftKept, c[11]), decay(zeroDriftKept, c[12]), decay(zeroDriftKept, c[13]), zeroDriftKept * zeroDriftKept * c[14] + step.zeroDriftVariance,
      lidCovariances[0], lidCovariances[1], lidCovariances[2], lidCovariances[3], lidCovariances[4], lidCovariances[5],
    ],
  };
}

/** g²: a variance of a milligram on the lid counts as zero. In a dry summer it would fade until numbers can't be divided. */
const lidLoadMin = 1e-6;
const noLidCovariance: readonly [number, number, number, number, number, number] = [0, 0, 0, 0, 0, 0];

/** The expected reading in grams. `kelvinAboveTare`: K above the temperature at taring. */
export const expectedReading = (estimate: LevelEstimate, kelvinAboveTare: number): number =>
  estimate.level + kelvinAboveTare * estimate.slope + estimate.offset + estimate.zeroDrift + estimate.lidLoad;

export function expectedReadingVariance({ covariance }: LevelEstimate, kelvinAboveTare: number): number {
  const atTare =
    covariance[0] +
    covariance[9] +
    covariance[14] +
    covariance[20] +
    2 * (covariance[6] + covariance[10] + covariance[13] + covariance[15] + covariance[18] + covariance[19]);
  return (
    atTare +
    kelvinAboveTare *
      (2 * (covariance[3] + covariance[8] + covariance[12] + covariance[17]) + kelvinAboveTare * covariance[5])
  );
}

/** A reading of the scale, with this noise variance (g²) of a single reading. */
export function updateByReading(
  estimate: LevelEstimate,
  reading: number,
  kelvinAboveTare: number,
  noiseVariance: number,
): LevelEstimate {
  const c = estimate.covariance;
  const readingCovariances: MeasurementCovariances = [
    c[0] + kelvinAboveTare * c[3] + c[6] + c[10] + c[15],
    c[1] + kelvinAboveTare * c[4] + c[7] + c[11] + c[16],
    c[3] + kelvinAboveTare * c[5] + c[8] + c[12] + c[17],
    c[6] + kelvinAboveTare * c[8] + c[9] + c[13] + c[18],
    c[10] + kelvinAboveTare * c[12] + c[13] + c[14] + c[19],
    c[15] + kelvinAboveTare * c[17] + c[18] + c[19] + c[20],
  ];
  const total = expectedReadingVariance(estimate, kelvinAboveTare) + noiseVariance;
  return kalmanUpdate(estimate, reading - expectedReading(estimate, kelvinAboveTare), readingCovariances, total);
}

/** The level itself was measured, with this noise variance (g²): that also corrects the scale's offset. */
export function updateByMeasurement(estimate: LevelEstimate, measured: number, noiseVariance: number): LevelEstimate {
  const c = estimate.covariance;
  return kalmanUpdate(
    estimate,
    measured - estimate.level,
    [c[0], c[1], c[3], c[6], c[10], c[15]],
    c[0] + noiseVariance,
  );
}

/** What is known from elsewhere about the zero's offset: zero, with this variance (g²). */
export function updateByOffset(estimate: LevelEstimate, variance: number): LevelEstimate {
  const c = estimate.covariance;
  return kalmanUpdate(estimate, -estimate.offset, [c[6], c[7], c[8], c[9], c[13], c[18]], c[9] + variance);
}

/** What lies on the lid can't weigh less than nothing: where it seems to, the readings have erred elsewhere. */
export function clampLidLoad(estimate: LevelEstimate): LevelEstimate {
  const c = estimate.covariance;
  if (estimate.lidLoad >= 0 || c[20] <= 0) return estimate;
  // As if it had been seen to be bare, just so well that its estimate comes to nothing; half a normal distribution is left.
  const remaining = 0.36 * c[20];
  const noise = (c[20] * remaining) / (c[20] - remaining);
  const measured = estimate.lidLoad - (estimate.lidLoad * (c[20] + noise)) / c[20];
  return kalmanUpdate(estimate, measured - estimate.lidLoad, [c[15], c[16], c[17], c[18], c[19], c[20]], c[20] + noise);
}

/** Covariances of (level, portion, slope, offset, zeroDrift, lidLoad) with what was measured. */
type MeasurementCovariances = readonly [number, number, number, number, number, number];

/** @param innovation measured less expected. @param total variance of the innovation */
function kalmanUpdate(
  estimate: LevelEstimate,
  innovation: number,
  [a, b, d, e, f, g]: MeasurementCovariances,
  total: number,
): LevelEstimate {
  if (!(total > 0)) throw new RangeError(`expected a noise variance above 0 g², got ${total} in all`);
  const c = estimate.covariance;
  const step = innovation / total;
  const inverse = 1 / total;
  return {
    level: estimate.level + a * step,
    portion: estimate.portion + b * step,
    slope: estimate.slope + d * step,
    offset: estimate.offset + e * step,
    zeroDrift: estimate.zeroDrift + f * step,
    lidLoad: estimate.lidLoad + g * step,
    // biome-ignore format: one row of the triangle a line
    covariance: [
      Math.max(c[0] - a * a * inverse, 0),
      c[1] - b * a * inverse, Math.max(c[2] - b * b * inverse, 0),
      c[3] - d * a * inverse, c[4] - d * b * inverse, Math.max(c[5] - d * d * inverse, 0),
      c[6] - e * a * inverse, c[7] - e * b * inverse, c[8] - e * d * inverse, Math.max(c[9] - e * e * inverse, 0),
      c[10] - f * a * inverse, c[11] - f * b * inverse, c[12] - f * d * inverse, c[13] - f * e * inverse, Math.max(c[14] - f * f * inverse, 0),
      c[15] - g * a * inverse, c[16] - g * b * inverse, c[17] - g * d * inverse, c[18] - g * e * inverse, c[19] - g * f * inverse,
      Math.max(c[20] - g * g * inverse, 0),
    ],
  };
}

/** Adds variances in g², for an event with an uncertainty of its own. */
export function addVariance(
  estimate: LevelEstimate,
  added: Pick<Variances, "level" | "portion" | "zeroDrift" | "lidLoad">,
): LevelEstimate {
  const [c00, c10, c11, c20, c21, c22, c30, c31, c32, c33, c40, c41, c42, c43, c44, c50, c51, c52, c53, c54, c55] =
    estimate.covariance;
  // biome-ignore format: one row of the triangle a line
  const covariance: Covariance = [
    c00 + (added.level ?? 0),
    c10, c11 + (added.portion ?? 0),
    c20, c21, c22,
    c30, c31, c32, c33,
    c40, c41, c42, c43, c44 + (added.zeroDrift ?? 0),
    c50, c51, c52, c53, c54, c55 + (added.lidLoad ?? 0),
  ];
  return { ...estimate, covariance };
}

/** What was taken for a load on the lid is food, give or take; the scale has shown what both weigh together. */
export function moveToLevel(estimate: LevelEstimate, grams: number, variance: number): LevelEstimate {
  const [c00, c10, c11, c20, c21, c22, c30, c31, c32, c33, c40, c41, c42, c43, c44, c50, c51, c52, c53, c54, c55] =
    estimate.covariance;
  // biome-ignore format: one row of the triangle a line
  const covariance: Covariance = [
    c00 + variance,
    c10, c11,
    c20, c21, c22,
    c30, c31, c32, c33,
    c40, c41, c42, c43, c44,
    c50 - variance, c51, c52, c53, c54, c55 + variance,
  ];
  return { ...estimate, level: estimate.level + grams, lidLoad: estimate.lidLoad - grams, covariance };
}

/** Replaces the level: the other estimates keep their variances, but no longer go with the level. */
export function resetLevel(estimate: LevelEstimate, level: number, variance: number): LevelEstimate {
  const [, , c11, , c21, c22, , c31, c32, c33, , c41, c42, c43, c44, , c51, c52, c53, c54, c55] = estimate.covariance;
  // biome-ignore format: one row of the triangle a line
  const covariance: Covariance = [
    variance,
    0, c11,
    0, c21, c22,
    0, c31, c32, c33,
    0, c41, c42, c43, c44,
    0, c51, c52, c53, c54, c55,
  ];
  return { ...estimate, level, covariance };
}

/** Replaces the portion weight. */
export function resetPortion(estimate: LevelEstimate, portion: number, variance: number): LevelEstimate {
  const [c00, , , c20, , c22, c30, , c32, c33, c40, , c42, c43, c44, c50, , c52, c53, c54, c55] = estimate.covariance;
  // biome-ignore format: one row of the triangle a line
  const covariance: Covariance = [
    c00,
    0, variance,
    c20, 0, c22,
    c30, 0, c32, c33,
    c40, 0, c42, c43, c44,
    c50, 0, c52, c53, c54, c55,
  ];
  return { ...estimate, portion, covariance };
}

/** It became certain that the level lies above `least`: what is below it is cut off, and the rest taken for normal again. */
export function truncateBelow(estimate: LevelEstimate, levelMin: number): LevelEstimate {
  const variance = estimate.covariance[0];
  const deviation = Math.sqrt(variance);
  if (!(deviation > 0)) return estimate;
  const below = (levelMin - estimate.level) / deviation;
  const hazard = Math.exp(-0.5 * below * below - logSqrtTwoPi - logNormalTail(below));
  const keptShare = 1 + below * hazard - hazard * hazard; // of the variance
  return matchLevel(
    estimate,
    estimate.level + hazard * deviation,
    Math.min(Math.max(keptShare, 0.01), 0.999) * variance,
  );
}

/** And here that it lies below `most`. */
export function truncateAbove(estimate: LevelEstimate, levelMax: number): LevelEstimate {
  const mirrored = truncateBelow({ ...estimate, level: -estimate.level }, -levelMax);
  return matchLevel(estimate, -mirrored.level, mirrored.covariance[0]);
}

/** The measurement that would leave the level with this mean and variance. */
function matchLevel(estimate: LevelEstimate, level: number, variance: number): LevelEstimate {
  const before = estimate.covariance[0];
  if (!(variance < before)) return estimate;
  const noise = (before * variance) / (before - variance);
  return updateByMeasurement(estimate, estimate.level + ((level - estimate.level) * (before + noise)) / before, noise);
}
