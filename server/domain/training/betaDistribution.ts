import { bisect, type Limits } from "../intervals.ts";

/** ln Γ(x), x > 0: Lanczos' approximation as in Press et al. 2007, Numerical Recipes, 6.1; good to 13 digits. */
export function logGamma(x: number): number {
  if (!(x > 0)) throw new RangeError(`expected x > 0, got ${x}`);
  if (x < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * x)) - logGamma(1 - x);
  const shifted = x - 1;
  const sum = lanczos.reduce((all, coefficient, k) => all + coefficient / (shifted + k + 1), lanczosFirst);
  const t = shifted + 7.5;
  return 0.5 * Math.log(2 * Math.PI) + (shifted + 0.5) * Math.log(t) - t + Math.log(sum);
}

/** g = 7, n = 9 (Godfrey 2001); from memory, checked in the tests against scipy. */
const lanczosFirst = 0.99999999999980993;
const lanczos = [
  676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059, 12.507343278686905,
  -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7,
];

export const logBeta = (a: number, b: number): number => logGamma(a) + logGamma(b) - logGamma(a + b);

/** The regularized incomplete beta function I_x(a, b): the probability of a Beta(a, b) below x. Continued fraction of DLMF 8.17.22. */
export function betaBelow(x: number, a: number, b: number): number {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  if (x > (a + 1) / (a + b + 2)) return 1 - betaBelow(1 - x, b, a); // it converges fast on one side only
  const front = Math.exp(a * Math.log(x) + b * Math.log1p(-x) - logBeta(a, b)) / a;
  return front * continuedFraction(x, a, b);
}

/** By Lentz' method (Press et al. 2007, 5.2). */
function continuedFraction(x: number, a: number, b: number): number {
  const tiny = 1e-300;
  let c = 1;
  let d = 1 / Math.max(tiny, 1 - ((a + b) * x) / (a + 1));
  let fraction = d;
  for (let m = 1; m <= 500; m += 1) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    for (const term of [even, odd]) {
      d = 1 / nonZero(1 + term * d);
      c = nonZero(1 + term / c);
      fraction *= c * d;
    }
    if (Math.abs(c * d - 1) < 1e-15) return fraction;
  }
  return fraction;
}

const nonZero = (value: number): number => (Math.abs(value) < 1e-300 ? 1e-300 : value);

/** The value below which a Beta(a, b) lies with this probability; by bisection, since that is the definition. */
export const betaQuantile = (probability: number, a: number, b: number): number =>
  bisect((x) => betaBelow(x, a, b) - probability, 0, 1);

/**
 * The interval that holds the share with 95 %, by what was seen alone: the quantiles of Beta(hits + ½, misses + ½)
 * by Jeffreys' prior (Brown, Cai & DasGupta 2001, Stat. Sci. 16:101).
 */
export function betaLimits(hits: number, of: number): Limits {
  const [a, b] = [hits + 0.5, of - hits + 0.5];
  return {
    low: hits === 0 ? 0 : betaQuantile(0.025, a, b),
    high: hits === of ? 1 : betaQuantile(0.975, a, b),
  };
}

/** The probability that |t| is exceeded with so many degrees of freedom: I_{ν/(ν+t²)}(ν/2, ½), DLMF 8.17 and Abramowitz & Stegun 26.7.1. */
export const studentTail = (t: number, freedom: number): number =>
  betaBelow(freedom / (freedom + t * t), freedom / 2, 0.5);
