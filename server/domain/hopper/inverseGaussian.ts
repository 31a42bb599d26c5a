import { logMills, logNormalTail, logSqrtTwoPi } from "../normalTail.ts";

/**
 * First passage of a Brownian motion with drift: the time until a level that sinks by `drift` a day, give or take
 * `spread` per square root of a day, has sunk by `distance`. Tweedie 1957; Chhikara & Folks 1989.
 */
export interface FirstPassage {
  readonly distance: number; // > 0
  readonly drift: number; // > 0, per day
  readonly spread: number; // > 0, per square root of a day
}

/** Probability that the level has been reached within `time` days. */
export const firstPassageProbability = ({ distance, drift, spread }: FirstPassage, time: number): number =>
  time <= 0 ? 0 : Math.exp(logProbability(shapeParameter(distance, drift, spread), (time * drift) / distance));

/** In units of the mean time only one number is left: distance·drift/spread², as large as birds eat evenly. */
const shapeParameter = (distance: number, drift: number, spread: number): number =>
  (distance * drift) / (spread * spread);

/** ln of the probability that the level is reached within the mean time, times `time`. */
function logProbability(shape: number, time: number): number {
  const root = Math.sqrt(shape / time);
  const z = root * (time - 1);
  const first = logNormalTail(-z);
  // The second term, exp(2·shape)·Q(beyond), is huge times tiny. Since beyond² − ahead² is exactly 4·shape, adding logs
  // leaves exp(−ahead²/2)·Mills(beyond)/√2π: nothing overflows, nothing cancels.
  const second = logMills(root * (time + 1)) - 0.5 * z * z - logSqrtTwoPi;
  return Math.min(
    0,
    first > second ? first + Math.log1p(Math.exp(second - first)) : second + Math.log1p(Math.exp(first - second)),
  );
}

/**
 * The time in days by which the level has been reached with this probability: Newton's steps in the logarithm of time, for the
 * logarithm of the probability, which is concave there, so that they converge; where one would leave the bracket, the middle
 * is taken.
 * @throws RangeError outside 0 < probability < 1.
 */
export function firstPassageQuantile({ distance, drift, spread }: FirstPassage, probability: number): number {
  if (!(probability > 0 && probability < 1))
    throw new RangeError(`expected a probability between 0 and 1, got ${probability}`);
  const shape = shapeParameter(distance, drift, spread);
  const logWanted = Math.log(probability);
  let [low, high] = [-60, 60]; // ln of time over its mean
  // Starts at the log-normal time with the same first moments; z by Tukey's lambda, good to a hundredth.
  const logVariance = Math.log1p(1 / shape);
  let at = 4.91 * (probability ** 0.14 - (1 - probability) ** 0.14) * Math.sqrt(logVariance) - 0.5 * logVariance;
  for (let step = 0; step < 100; step += 1) {
    const time = Math.exp(at);
    const log = logProbability(shape, time);
    const difference = log - logWanted;
    if (difference > 0) high = at;
    else low = at;
    // d ln F / d ln t = t·f(t)/F(t), with the density √(shape/2πt³)·exp(−shape·(t−1)²/2t).
    const density = 0.5 * Math.log(shape / time) - logSqrtTwoPi - (0.5 * shape * (time - 1) * (time - 1)) / time;
    const next = at - difference / Math.exp(density - log);
    const bounded = next > low && next < high ? next : (low + high) / 2;
    if (Math.abs(bounded - at) < 1e-11 || high - low < 1e-11) return Math.exp(bounded) * (distance / drift);
    at = bounded;
  }
  return Math.exp(at) * (distance / drift);
}
