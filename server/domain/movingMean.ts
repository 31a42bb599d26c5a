/**
 * The exponentially weighted moving average (Roberts 1959), where newer values count more: of a value n steps back, the weight times
 * (1 - weight)^n is left.
 * @param weight of the newest value, 0 to 1.
 */
export const movingMean = (mean: number, value: number, weight: number): number => mean + weight * (value - mean);
