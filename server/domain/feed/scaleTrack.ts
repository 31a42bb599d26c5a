import { decay } from "../decay.ts";
import { portionRelativeSpread, scaleDrift, scaleNoise } from "../hopper/level.ts";
import { type Instant, inHours, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { logStudentDensity } from "./studentDensity.ts";

/**
 * What the scale should show while food falls: the level and what one portion weighs, each with its variance (a Kalman
 * filter of two states, as in hopper/levelFilter.ts). The hopper's own filter can't serve here: it follows the scale in the
 * end, and this one must assume "healthy" for as long as that is tested against a fault.
 */
export interface ScaleTrack {
  readonly readingAt: Instant | null; // the newest reading; null while there was none
  readonly level: number; // g
  readonly variance: number; // g²
  readonly meanPortion: number; // g
  readonly portionVariance: number; // g², of the mean portion
  readonly covariance: number; // g²
  readonly noise: number; // g², of one reading, learnt while birds are about
  readonly lastPortionAt: Instant | null;
  readonly portionsSince: number; // since the newest reading
  readonly outliers: { readonly grams: number; readonly count: number } | null; // readings in a row that fit nothing
  readonly drift: number; // g an hour, recent change while no portion was given
  readonly lastReading: number | null; // g
  readonly step: number; // g, by which its readings differ at the least; 0 while that isn't known
  readonly hasJumpedDown: boolean; // it fell by far more than was given, and stayed there
}

/** What the scale shows by a hypothesis under which it doesn't follow the portions. */
export interface ScaleEstimate {
  readonly level: number; // g
  readonly variance: number; // g²
}

export const initialScaleTrack: ScaleTrack = {
  readingAt: null,
  level: 0,
  variance: 0,
  meanPortion: 0,
  portionVariance: 0,
  covariance: 0,
  noise: 0,
  lastPortionAt: null,
  portionsSince: 0,
  outliers: null,
  drift: 0,
  step: 0,
  lastReading: null,
  hasJumpedDown: false,
};

/** 0.3 % a portion, so that a new sort of food is learnt in some days. */
const portionDriftShare = 0.003;
const noiseMin = 0.5 ** 2;
const readingsRememberedMax = 200;
/** Wind and birds come by day: the noise of a reading is learnt within this span after a portion. */
const noiseLearningHours = 1; // hours
/** A residual of so many standard deviations has another reason than the feed: a bird on the perch, a hand, a refill. */
const outlierDeviations = 6;
/** A bird leaves again. What stays for so many readings is the new level. */
const outlierReadings = 4;

export const portionDeviation = (track: ScaleTrack): number => portionRelativeSpread * track.meanPortion;

/**
 * A healthy feeder gave a portion, which was empty with the given probability. A backlog comes after a reading that was taken later: that one
 * shows the portion already.
 */
export function updateTrackByPortion(track: ScaleTrack, at: Instant, emptyProbability: number): ScaleTrack {
  if (track.readingAt === null || at < track.readingAt) return track;
  const given = 1 - emptyProbability; // portions, in the mean
  const { meanPortion, portionVariance } = track;
  const spread = given * portionDeviation(track) ** 2 + given * emptyProbability * (meanPortion ** 2 + portionVariance);
  const shared = track.variance - 2 * given * track.covariance + given * given * portionVariance;
  return {
    readingAt: track.readingAt,
    level: track.level - given * meanPortion,
    variance: Math.max(shared, 0) + spread,
    meanPortion: track.meanPortion,
    portionVariance: track.portionVariance + (portionDriftShare * track.meanPortion) ** 2,
    covariance: track.covariance - given * portionVariance,
    noise: track.noise,
    lastPortionAt: at,
    portionsSince: track.portionsSince + 1,
    outliers: track.outliers,
    drift: track.drift,
    step: track.step,
    lastReading: track.lastReading,
    hasJumpedDown: track.hasJumpedDown,
  };
}

export interface TrackUpdate {
  readonly track: ScaleTrack;
  /** g², by which the variance has grown since the last reading, under every hypothesis; null: the reading is ignored. */
  readonly addedVariance: number | null;
  /** The scale shows another level now: all estimates start again from it. */
  readonly isRestarted: boolean;
}

export interface TrackContext {
  readonly canLearn: boolean; // no fault is likely, so noise and portion may be learnt
  readonly scaleEstimates: readonly ScaleEstimate[]; // by the hypotheses under which the scale doesn't follow
}

export function updateTrackByReading(
  track: ScaleTrack,
  reading: number,
  at: Instant,
  settings: FeederSettings,
  { canLearn, scaleEstimates }: TrackContext,
): TrackUpdate {
  if (track.readingAt === null) return startTrack(track, reading, at, settings);
  const hours = Math.max(inHours((at - track.readingAt) as Span), 0);
  const addedVariance = hours * driftVariancePerHour(track, settings);
  const variance = track.variance + addedVariance;
  const total = variance + readingNoise(track);
  const residual = reading - track.level;
  const isFar = ({ level, variance: own }: ScaleEstimate) =>
    isOutlier(reading - level, own + addedVariance + readingNoise(track));
  if ([track, ...scaleEstimates].every(isFar)) return updateTrackByOutlier(track, reading, at);
  const gain = variance / total;
  const portionGain = canLearn ? track.covariance / total : 0;
  return {
    track: {
      readingAt: at,
      level: track.level + gain * residual,
      variance: (1 - gain) * variance,
      meanPortion: clampMeanPortion(track.meanPortion + portionGain * residual, settings),
      portionVariance: track.portionVariance - portionGain * track.covariance,
      covariance: decay(1 - gain, track.covariance), // over a night of readings it fades to nothing
      noise: canLearn ? updateNoise(track, at, residual, variance) : track.noise,
      lastPortionAt: track.lastPortionAt,
      portionsSince: 0,
      outliers: null,
      drift: updateDrift(track, gain * residual, hours),
      step: updateStep(track, reading),
      lastReading: reading,
      hasJumpedDown: track.hasJumpedDown,
    },
    addedVariance,
    isRestarted: false,
  };
}

const startTrack = (track: ScaleTrack, reading: number, at: Instant, settings: FeederSettings): TrackUpdate => ({
  track: restartTrack(withInitialPortion(track, settings), reading, at),
  addedVariance: null,
  isRestarted: true,
});

const isOutlier = (residual: number, variance: number): boolean =>
  Math.abs(residual) >= Math.max(outlierDeviations * Math.sqrt(variance), outlierGramsMin);

const clampMeanPortion = (mean: number, { portionMass }: FeederSettings): number =>
  Math.min(Math.max(mean, 0.2 * portionMass), 5 * portionMass);

function updateTrackByOutlier(track: ScaleTrack, reading: number, at: Instant): TrackUpdate {
  const isSameOutlier =
    track.outliers !== null &&
    Math.abs(reading - track.outliers.grams) < 2 * outlierGramsMin + outlierDeviations * Math.sqrt(track.noise);
  const count = isSameOutlier ? track.outliers.count + 1 : 1;
  if (count < outlierReadings)
    return { track: { ...track, outliers: { grams: reading, count } }, addedVariance: null, isRestarted: false };
  const hasJumpedDown = reading < track.level && track.portionsSince < 3;
  return { track: { ...restartTrack(track, reading, at), hasJumpedDown }, addedVariance: null, isRestarted: true };
}

/** Log likelihood ratio of this reading: by the hypothesis's estimate against falling food. */
export function scaleLogLikelihoodRatio(
  track: ScaleTrack,
  estimate: ScaleEstimate,
  reading: number,
  addedVariance: number,
): number {
  const noise = readingNoise(track);
  const falls = logStudentDensity(reading - track.level, track.variance + addedVariance + noise);
  return logStudentDensity(reading - estimate.level, estimate.variance + addedVariance + noise) - falls;
}

/**
 * g², of one reading. A coarse scale stands still for some portions, as it must: a value within its step is as likely as another, and a
 * reading that repeats itself says nothing new, so that half a step counts in full.
 */
export const readingNoise = ({ noise, step }: ScaleTrack): number => noise + (step / 2) ** 2;

/** Readings of a fine scale differ by little; those of a coarse one never by less than its step, which one lucky pair must not hide. */
function updateStep({ step, lastReading }: ScaleTrack, reading: number): number {
  const difference = lastReading === null ? 0 : Math.abs(reading - lastReading);
  if (difference < 0.05 || difference > stepMax) return step;
  if (step === 0 || difference < step) return difference;
  return Math.min(difference, step * stepGrowth);
}
const stepMax = 20; // g
const stepGrowth = 1.02; // a reading, towards what is seen

export function updateScaleEstimate(
  estimate: ScaleEstimate,
  reading: number,
  addedVariance: number,
  noise: number,
): ScaleEstimate {
  const variance = estimate.variance + addedVariance;
  const gain = variance / (variance + noise);
  return { level: estimate.level + gain * (reading - estimate.level), variance: (1 - gain) * variance };
}

const outlierGramsMin = 15;

/**
 * g², by which the zero drifts in an hour. Snow on the lid adds a dozen grams an hour for hours, about what birds eat, and
 * thaw takes more: a recent change without portions raises the variance, so that nothing is concluded from it.
 */
function driftVariancePerHour({ drift }: ScaleTrack, settings: FeederSettings): number {
  const usual = Math.max(scaleDrift(settings) ** 2 / 24, wetDriftPerHour ** 2);
  // An exponential window of an hour averages a random walk down to the root of half of its hourly variance.
  const excess = Math.max(0, Math.abs(drift) - 2 * Math.sqrt(usual / 2));
  return usual + excess * excess;
}

/** g, by which rain, sun and birds on the roof move a scale in an hour, up as well as down. Common practice, no source. */
const wetDriftPerHour = 6;

function updateDrift({ drift, portionsSince }: ScaleTrack, zeroChange: number, hours: number): number {
  const fadedDrift = Math.exp(-hours / driftMemory) * drift;
  const remainingDrift = Math.abs(fadedDrift) < driftMin ? 0 : fadedDrift; // below this a number loses its digits
  return portionsSince > 0 ? remainingDrift : remainingDrift + zeroChange / driftMemory;
}
const driftMemory = 1; // hours
const driftMin = 1e-9; // g an hour

const withInitialPortion = (track: ScaleTrack, settings: FeederSettings): ScaleTrack =>
  track.meanPortion > 0
    ? track
    : {
        ...track,
        meanPortion: settings.portionMass,
        portionVariance: (portionRelativeSpread * settings.portionMass) ** 2,
        noise: scaleNoise(settings) ** 2,
      };

const restartTrack = (track: ScaleTrack, reading: number, at: Instant): ScaleTrack => ({
  ...track,
  lastReading: reading,
  readingAt: at,
  level: reading,
  variance: track.noise,
  covariance: 0,
  portionsSince: 0,
  outliers: null,
});

function updateNoise(track: ScaleTrack, at: Instant, residual: number, variance: number): number {
  if (track.portionsSince > 0 || track.lastPortionAt === null) return track.noise;
  if (inHours((at - track.lastPortionAt) as Span) > noiseLearningHours) return track.noise;
  const total = variance + track.noise;
  const learnt = track.noise + (Math.min(residual * residual, 9 * total) - total) / readingsRememberedMax;
  return Math.max(learnt, noiseMin);
}
