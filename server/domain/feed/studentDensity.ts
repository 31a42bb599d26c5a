/**
 * Degrees of freedom of the distribution of currents and weights. Its tails are heavier than the normal's,
 * so that a gust or a kernel caught for a moment is rare and no proof; within three standard deviations it costs a tenth of
 * the evidence. Robust likelihoods by Student's t: Lange, Little & Taylor 1989, J. Am. Stat. Assoc. 84:881.
 */
const degreesOfFreedom = 8;

/** ln of Student's density, but for a constant that is the same for all: for ratios only. `variance` is the square of its scale. */
export const logStudentDensity = (residual: number, variance: number): number =>
  -0.5 * (degreesOfFreedom + 1) * Math.log1p((residual * residual) / (variance * degreesOfFreedom)) -
  0.5 * Math.log(variance);
