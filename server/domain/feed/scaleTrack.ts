import { portionRelativeSpread, scaleDrift, scaleNoise } from "../hopper/level.ts";
import { type Instant, inHours, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { logStudentDensity } from "./studentDensity.ts";

/**
 * What the scale should show while food falls: the level as it has been weighed and reckoned since, and what one portion
 * weighs, each with its doubt (a Kalman filter of two states, as in hopper/levelFilter.ts). The hopper's own filter can't
 * serve here: it believes the chute sensor and takes the scale's side in the end, and this one must hold on to "healthy"
 * for as long as it is to be weighed against its opposite.
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
  readonly drift: number; // g an hour, by which it lately moved by itself while no portion was given
  readonly hasJumpedDown: boolean; // it fell by far more than was given, and stayed there
}

/** What a hypothesis without falling food says the scale shows. */
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
  hasJumpedDown: false,
};

/** 0.3 % a portion, so that a new sort of food is learnt in some days. */
const portionWander = 0.003;
const noiseMin = 0.5 ** 2;
const readingsRemembered = 200;
/** Wind and birds come by day: how much a reading trembles is learnt within this span of a portion. */
const noiseLearningHours = 1; // hours
/** So many spreads off, nothing that the feed does can be the reason: a bird on the perch, a hand, a refill. */
const outlierDeviations = 6;
/** A bird leaves again. What stays for so many readings is where the scale stands now. */
const outlierReadings = 4;

export const portionDeviation = (track: ScaleTrack): number => portionRelativeSpread * track.meanPortion;

/** A portion was given, and food falls. */
export function updateTrackByPortion(track: ScaleTrack, at: Instant): ScaleTrack {
  if (track.readingAt === null) return track;
  const spread = portionDeviation(track);
  return {
    readingAt: track.readingAt,
    level: track.level - track.meanPortion,
    variance: Math.max(track.variance - 2 * track.covariance + track.portionVariance, 0) + spread * spread,
    meanPortion: track.meanPortion,
    portionVariance: track.portionVariance + (portionWander * track.meanPortion) ** 2,
    covariance: track.covariance - track.portionVariance,
    noise: track.noise,
    lastPortionAt: at,
    portionsSince: track.portionsSince + 1,
    outliers: track.outliers,
    drift: track.drift,
    hasJumpedDown: track.hasJumpedDown,
  };
}

export interface TrackUpdate {
  readonly track: ScaleTrack;
  /** g², by which doubt has grown since the last reading, for every hypothesis alike; null: the reading counts for nothing. */
  readonly addedVariance: number | null;
  /** The scale stands elsewhere now: all levels begin anew from here. */
  readonly isRestarted: boolean;
}

export interface Suspected {
  readonly calm: boolean; // nothing is suspected, so habits may be learnt
  readonly held: readonly ScaleEstimate[]; // what the suspects say that the scale shows
}

export function updateTrackByReading(
  track: ScaleTrack,
  reading: number,
  at: Instant,
  settings: FeederSettings,
  { calm, held }: Suspected,
): TrackUpdate {
  if (track.readingAt === null)
    return {
      track: restartTrack(withInitialPortion(track, settings), reading, at),
      addedVariance: null,
      isRestarted: true,
    };
  const hours = Math.max(inHours((at - track.readingAt) as Span), 0);
  const wander = hours * wanderVariancePerHour(track, settings);
  const variance = track.variance + wander;
  const total = variance + track.noise;
  const off = reading - track.level;

  const fits = (level: number, spread: number) =>
    Math.abs(reading - level) < Math.max(outlierDeviations * Math.sqrt(spread), outlierGramsMin);
  if (!fits(track.level, total) && !held.some((one) => fits(one.level, one.variance + wander + track.noise))) {
    const again =
      track.outliers !== null &&
      Math.abs(reading - track.outliers.grams) < 2 * outlierGramsMin + outlierDeviations * Math.sqrt(track.noise);
    const count = again ? track.outliers.count + 1 : 1;
    const odd = { grams: reading, count };
    if (count < outlierReadings) return { track: { ...track, outliers: odd }, addedVariance: null, isRestarted: false };
    const sprang = off < 0 && track.portionsSince < 3;
    return {
      track: { ...restartTrack(track, reading, at), hasJumpedDown: sprang },
      addedVariance: null,
      isRestarted: true,
    };
  }
  const gain = variance / total;
  const portionGain = calm ? track.covariance / total : 0;
  return {
    track: {
      readingAt: at,
      level: track.level + gain * off,
      variance: (1 - gain) * variance,
      meanPortion: Math.min(
        Math.max(track.meanPortion + portionGain * off, 0.2 * settings.portionMass),
        5 * settings.portionMass,
      ),
      portionVariance: track.portionVariance - portionGain * track.covariance,
      covariance: (1 - gain) * track.covariance,
      noise: calm ? updateNoise(track, at, off, variance) : track.noise,
      lastPortionAt: track.lastPortionAt,
      portionsSince: 0,
      outliers: null,
      drift: updateDrift(track, gain * off, hours),
      hasJumpedDown: track.hasJumpedDown,
    },
    addedVariance: wander,
    isRestarted: false,
  };
}

/** How much likelier this reading is if it is held where a suspect says than if food falls. */
export function scaleLogLikelihoodRatio(
  track: ScaleTrack,
  held: ScaleEstimate,
  reading: number,
  wander: number,
): number {
  const falls = logStudentDensity(reading - track.level, track.variance + wander + track.noise);
  return logStudentDensity(reading - held.level, held.variance + wander + track.noise) - falls;
}

export function updateScaleEstimate(
  held: ScaleEstimate,
  reading: number,
  wander: number,
  noise: number,
): ScaleEstimate {
  const variance = held.variance + wander;
  const gain = variance / (variance + noise);
  return { level: held.level + gain * (reading - held.level), variance: (1 - gain) * variance };
}

const outlierGramsMin = 15;

/**
 * g², by which the zero wanders in an hour. Snow on the lid adds a dozen grams an hour for hours on end, about what birds eat,
 * and thaw takes more: what moves by itself between two portions is no drift any more, and nothing is concluded from it.
 */
function wanderVariancePerHour({ drift }: ScaleTrack, settings: FeederSettings): number {
  const usual = scaleDrift(settings) ** 2 / 24;
  // An exponential window of an hour averages a random walk down to the root of half of its hourly variance.
  const more = Math.max(0, Math.abs(drift) - 2 * Math.sqrt(usual / 2));
  return usual + more * more;
}

function updateDrift({ drift, portionsSince }: ScaleTrack, rose: number, hours: number): number {
  const left = Math.exp(-hours / driftMemory) * drift;
  const kept = Math.abs(left) < driftMin ? 0 : left; // what fades for months ends below what a number can hold
  return portionsSince > 0 ? kept : kept + rose / driftMemory;
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
  readingAt: at,
  level: reading,
  variance: track.noise,
  covariance: 0,
  portionsSince: 0,
  outliers: null,
});

function updateNoise(track: ScaleTrack, at: Instant, off: number, variance: number): number {
  if (track.portionsSince > 0 || track.lastPortionAt === null) return track.noise;
  if (inHours((at - track.lastPortionAt) as Span) > noiseLearningHours) return track.noise;
  const total = variance + track.noise;
  const learnt = track.noise + (Math.min(off * off, 9 * total) - total) / readingsRemembered;
  return Math.max(learnt, noiseMin);
}
