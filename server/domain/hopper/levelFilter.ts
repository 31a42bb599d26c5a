import { logNormalTail, logSqrtTwoPi } from "../normalTail.ts";

/**
 * What is believed about six things at once, since an error of one looks like another to a scale: how much is in the hopper,
 * what a portion weighs, how the scale's zero moves with the temperature, how far it was off from the start, how far it has
 * wandered by now, and what lies on the lid. Whoever then weighs the hopper corrects all of them, each as far as it may be to
 * blame (Kalman filter; with a portion and a scale that are known for certain it is the scalar one of Welch & Bishop,
 * TR 95-041).
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
 * The symmetric covariance of (level, portion, slope, offset, wander, lid), its lower triangle row by row:
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

/** Variances of things that don't go with each other, in squares of the units above; left out: certain. */
export interface Variances {
  readonly level?: number;
  readonly portion?: number;
  readonly slope?: number;
  readonly offset?: number;
  readonly wander?: number;
  readonly lid?: number;
}

// biome-ignore format: one row of the triangle a line
export const diagonalCovariance = ({ level = 0, portion = 0, slope = 0, offset = 0, wander = 0, lid = 0 }: Variances): Covariance => [
  level,
  0, portion,
  0, 0, slope,
  0, 0, 0, offset,
  0, 0, 0, 0, wander,
  0, 0, 0, 0, 0, lid,
];

export const levelVariance = ({ covariance }: LevelEstimate): number => covariance[0];
export const portionVariance = ({ covariance }: LevelEstimate): number => covariance[2];
/** g², between the level and the mean portion. */
export const levelPortionCovariance = ({ covariance }: LevelEstimate): number => covariance[1];
export const slopeVariance = ({ covariance }: LevelEstimate): number => covariance[5];
export const offsetVariance = ({ covariance }: LevelEstimate): number => covariance[9];
export const lidLoadVariance = ({ covariance }: LevelEstimate): number => covariance[20];

/** One portion fell: the level sinks by the mean portion, and this one portion's own spread is added to the doubt. */
export function predictByPortion(belief: LevelEstimate, spreadVariance: number, portionWander: number): LevelEstimate {
  const c = belief.covariance;
  return {
    level: belief.level - belief.portion,
    portion: belief.portion,
    slope: belief.slope,
    offset: belief.offset,
    zeroDrift: belief.zeroDrift,
    lidLoad: belief.lidLoad,
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

/** What passes by itself: `kept` is the share that stays, the variances (g²) are what is added to the doubt. */
export interface TimeStep {
  readonly levelDrop: number; // g
  readonly levelVariance: number;
  readonly zeroDriftKept: number;
  readonly zeroDriftVariance: number;
  readonly lidLoadKept: number;
  readonly lidLoadVariance: number;
}

export function predictByTime(belief: LevelEstimate, passing: TimeStep): LevelEstimate {
  const c = belief.covariance;
  const { zeroDriftKept, lidLoadKept } = passing;
  const lidVariance = lidLoadKept * lidLoadKept * c[20] + passing.lidLoadVariance;
  const lid: typeof noLidCovariance =
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
    level: belief.level - passing.levelDrop,
    portion: belief.portion,
    slope: belief.slope,
    offset: belief.offset,
    zeroDrift: decay(zeroDriftKept, belief.zeroDrift),
    lidLoad: lidVariance < lidLoadMin ? 0 : decay(lidLoadKept, belief.lidLoad),
    // biome-ignore format: one row of the triangle a line
    covariance: [
      c[0] + passing.levelVariance,
      c[1], c[2],
      c[3], c[4], c[5],
      c[6], c[7], c[8], c[9],
      decay(zeroDriftKept, c[10]), decay(zeroDriftKept, c[11]), decay(zeroDriftKept, c[12]), decay(zeroDriftKept, c[13]), zeroDriftKept * zeroDriftKept * c[14] + passing.zeroDriftVariance,
      lid[0], lid[1], lid[2], lid[3], lid[4], lid[5],
    ],
  };
}

/** What has faded to a trillionth is nothing: further down numbers lose their digits, and then their sign. */
function decay(kept: number, value: number): number {
  const left = kept * value;
  return Math.abs(left) < 1e-12 ? 0 : left;
}

/** g²: doubt of a milligram on the lid is none. In a dry summer it would fade until numbers are too small to be divided. */
const lidLoadMin = 1e-6;
const noLidCovariance: readonly [number, number, number, number, number, number] = [0, 0, 0, 0, 0, 0];

/** What the scale should say now, in grams, and that sum's variance. `warmer`: K above the temperature of its zero. */
export const expectedReading = (belief: LevelEstimate, warmer: number): number =>
  belief.level + warmer * belief.slope + belief.offset + belief.zeroDrift + belief.lidLoad;

export function expectedReadingVariance({ covariance }: LevelEstimate, warmer: number): number {
  const still =
    covariance[0] +
    covariance[9] +
    covariance[14] +
    covariance[20] +
    2 * (covariance[6] + covariance[10] + covariance[13] + covariance[15] + covariance[18] + covariance[19]);
  return (
    still + warmer * (2 * (covariance[3] + covariance[8] + covariance[12] + covariance[17]) + warmer * covariance[5])
  );
}

/** The scale said so much, with this noise variance (g²) of a single reading. */
export function updateByReading(
  belief: LevelEstimate,
  reading: number,
  warmer: number,
  noiseVariance: number,
): LevelEstimate {
  const c = belief.covariance;
  const withReading: WithMeasured = [
    c[0] + warmer * c[3] + c[6] + c[10] + c[15],
    c[1] + warmer * c[4] + c[7] + c[11] + c[16],
    c[3] + warmer * c[5] + c[8] + c[12] + c[17],
    c[6] + warmer * c[8] + c[9] + c[13] + c[18],
    c[10] + warmer * c[12] + c[13] + c[14] + c[19],
    c[15] + warmer * c[17] + c[18] + c[19] + c[20],
  ];
  const total = expectedReadingVariance(belief, warmer) + noiseVariance;
  return kalmanUpdate(belief, reading - expectedReading(belief, warmer), withReading, total);
}

/** Somebody saw the level itself, with this noise variance (g²): it also tells how far off the scale's zero is. */
export function updateByMeasurement(belief: LevelEstimate, measured: number, noiseVariance: number): LevelEstimate {
  const c = belief.covariance;
  return kalmanUpdate(belief, measured - belief.level, [c[0], c[1], c[3], c[6], c[10], c[15]], c[0] + noiseVariance);
}

/** What is known from elsewhere about the zero's offset: zero, with this variance (g²). */
export function updateByOffset(belief: LevelEstimate, variance: number): LevelEstimate {
  const c = belief.covariance;
  return kalmanUpdate(belief, -belief.offset, [c[6], c[7], c[8], c[9], c[13], c[18]], c[9] + variance);
}

/** What lies on the lid can't weigh less than nothing: where it seems to, the readings have erred elsewhere. */
export function clampLidLoad(belief: LevelEstimate): LevelEstimate {
  const c = belief.covariance;
  if (belief.lidLoad >= 0 || c[20] <= 0) return belief;
  // As if it had been seen to be bare, just so well that its estimate comes to nothing; half a normal distribution is left.
  const left = 0.36 * c[20];
  const noise = (c[20] * left) / (c[20] - left);
  const seen = belief.lidLoad - (belief.lidLoad * (c[20] + noise)) / c[20];
  return kalmanUpdate(belief, seen - belief.lidLoad, [c[15], c[16], c[17], c[18], c[19], c[20]], c[20] + noise);
}

/** Covariances of (level, portion, slope, offset, wander, lid) with what was measured. */
type WithMeasured = readonly [number, number, number, number, number, number];

/** @param innovation measured less expected. @param total variance of the innovation */
function kalmanUpdate(
  belief: LevelEstimate,
  innovation: number,
  [a, b, d, e, f, g]: WithMeasured,
  total: number,
): LevelEstimate {
  if (!(total > 0)) throw new RangeError(`expected a noise variance above 0 g², got ${total} in all`);
  const c = belief.covariance;
  const step = innovation / total;
  const over = 1 / total;
  return {
    level: belief.level + a * step,
    portion: belief.portion + b * step,
    slope: belief.slope + d * step,
    offset: belief.offset + e * step,
    zeroDrift: belief.zeroDrift + f * step,
    lidLoad: belief.lidLoad + g * step,
    // biome-ignore format: one row of the triangle a line
    covariance: [
      Math.max(c[0] - a * a * over, 0),
      c[1] - b * a * over, Math.max(c[2] - b * b * over, 0),
      c[3] - d * a * over, c[4] - d * b * over, Math.max(c[5] - d * d * over, 0),
      c[6] - e * a * over, c[7] - e * b * over, c[8] - e * d * over, Math.max(c[9] - e * e * over, 0),
      c[10] - f * a * over, c[11] - f * b * over, c[12] - f * d * over, c[13] - f * e * over, Math.max(c[14] - f * f * over, 0),
      c[15] - g * a * over, c[16] - g * b * over, c[17] - g * d * over, c[18] - g * e * over, c[19] - g * f * over,
      Math.max(c[20] - g * g * over, 0),
    ],
  };
}

/** More doubt about some of it, in g²: something happened that isn't understood, or was told with a doubt of its own. */
export function addVariance(
  belief: LevelEstimate,
  more: { readonly level?: number; readonly wander?: number; readonly lid?: number; readonly portion?: number },
): LevelEstimate {
  const [c00, c10, c11, c20, c21, c22, c30, c31, c32, c33, c40, c41, c42, c43, c44, c50, c51, c52, c53, c54, c55] =
    belief.covariance;
  // biome-ignore format: one row of the triangle a line
  const covariance: Covariance = [
    c00 + (more.level ?? 0),
    c10, c11 + (more.portion ?? 0),
    c20, c21, c22,
    c30, c31, c32, c33,
    c40, c41, c42, c43, c44 + (more.wander ?? 0),
    c50, c51, c52, c53, c54, c55 + (more.lid ?? 0),
  ];
  return { ...belief, covariance };
}

/** The level is told anew, whatever it was: what else is believed keeps its doubt, but no longer goes with the level. */
export function resetLevel(belief: LevelEstimate, level: number, variance: number): LevelEstimate {
  const [, , c11, , c21, c22, , c31, c32, c33, , c41, c42, c43, c44, , c51, c52, c53, c54, c55] = belief.covariance;
  // biome-ignore format: one row of the triangle a line
  const covariance: Covariance = [
    variance,
    0, c11,
    0, c21, c22,
    0, c31, c32, c33,
    0, c41, c42, c43, c44,
    0, c51, c52, c53, c54, c55,
  ];
  return { ...belief, level, covariance };
}

/** The portion is told anew. */
export function resetPortion(belief: LevelEstimate, portion: number, variance: number): LevelEstimate {
  const [c00, , , c20, , c22, c30, , c32, c33, c40, , c42, c43, c44, c50, , c52, c53, c54, c55] = belief.covariance;
  // biome-ignore format: one row of the triangle a line
  const covariance: Covariance = [
    c00,
    0, variance,
    c20, 0, c22,
    c30, 0, c32, c33,
    c40, 0, c42, c43, c44,
    c50, 0, c52, c53, c54, c55,
  ];
  return { ...belief, portion, covariance };
}

/** It became certain that the level lies above `least`: what is below it is cut off, and the rest taken for normal again. */
export function truncateBelow(belief: LevelEstimate, least: number): LevelEstimate {
  const variance = belief.covariance[0];
  const deviation = Math.sqrt(variance);
  if (!(deviation > 0)) return belief;
  const below = (least - belief.level) / deviation;
  const hazard = Math.exp(-0.5 * below * below - logSqrtTwoPi - logNormalTail(below));
  const kept = 1 + below * hazard - hazard * hazard; // of the variance
  return matchLevel(belief, belief.level + hazard * deviation, Math.min(Math.max(kept, 0.01), 0.999) * variance);
}

/** And here that it lies below `most`. */
export function truncateAbove(belief: LevelEstimate, most: number): LevelEstimate {
  const mirrored = truncateBelow({ ...belief, level: -belief.level }, -most);
  return matchLevel(belief, -mirrored.level, mirrored.covariance[0]);
}

/** The measurement that would leave the level with this mean and variance. */
function matchLevel(belief: LevelEstimate, level: number, variance: number): LevelEstimate {
  const before = belief.covariance[0];
  if (!(variance < before)) return belief;
  const noise = (before * variance) / (before - variance);
  return updateByMeasurement(belief, belief.level + ((level - belief.level) * (before + noise)) / before, noise);
}
