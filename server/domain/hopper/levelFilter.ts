/**
 * What is believed about two things at once: how much is in the hopper, and what one portion weighs. They are kept
 * together since an error in the portion's mass grows with every portion into an error of the level: whoever later
 * weighs the hopper corrects both. With a portion that is known for certain this is the scalar Kalman filter
 * (Welch & Bishop, TR 95-041).
 */
export interface LevelBelief {
  readonly level: number; // g
  readonly levelVariance: number; // g²
  readonly portion: number; // g, mean of one portion
  readonly portionVariance: number; // g², of that mean, not of a single portion
  readonly covariance: number; // g², between level and mean portion
}

/** One portion fell: the level sinks by the mean portion, and this one portion's own spread is added to the doubt. */
export function afterPortion(belief: LevelBelief, spreadVariance: number, portionWander: number): LevelBelief {
  const { level, levelVariance, portion, portionVariance, covariance } = belief;
  return {
    level: level - portion,
    // Portions err independently, so their spreads add as squares; the error of their mean is the same one each time.
    levelVariance: Math.max(levelVariance - 2 * covariance + portionVariance + spreadVariance, 0),
    portion,
    portionVariance: portionVariance + portionWander,
    covariance: covariance - portionVariance,
  };
}

/** Somebody or something measured the level, with this noise variance (g²). */
export function afterMeasurement(belief: LevelBelief, measured: number, noiseVariance: number): LevelBelief {
  const { level, levelVariance, portion, portionVariance, covariance } = belief;
  const total = levelVariance + noiseVariance;
  if (!(total > 0)) throw new RangeError(`expected a noise variance above 0 g², got ${noiseVariance}`);
  const levelGain = levelVariance / total;
  const portionGain = covariance / total;
  const innovation = measured - level;
  return {
    level: level + levelGain * innovation,
    levelVariance: (1 - levelGain) * levelVariance,
    portion: portion + portionGain * innovation,
    portionVariance: Math.max(portionVariance - portionGain * covariance, 0),
    covariance: (1 - levelGain) * covariance,
  };
}
