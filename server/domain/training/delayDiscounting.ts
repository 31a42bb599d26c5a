/**
 * What a delayed portion is worth as a share of one at once: V = A / (1 + kD) (Mazur 1987), D in seconds. k differs by species and bird:
 * for pigeons 0.2 to 1 a second is often quoted (from memory), and no value for free-living corvids at a feeder is known to us. So this is
 * said as a range, and never as a measurement of these birds.
 */
export const discountedValue = (amount: number, k: number, delaySeconds: number): number =>
  amount / (1 + k * delaySeconds);

/** Of one portion, by the two ends of that range. @param delaySeconds not negative */
export const delayedWorth = (delaySeconds: number): { readonly low: number; readonly high: number } => ({
  low: discountedValue(1, 1, delaySeconds),
  high: discountedValue(1, 0.2, delaySeconds),
});
