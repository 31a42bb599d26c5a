import { portionDoubt, scaleDrift, scaleNoise } from "../hopper/level.ts";
import { type Instant, inHours, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { logBell } from "./density.ts";

/**
 * What the scale should show while food falls: the level as it has been weighed and reckoned since, and what one portion
 * weighs, each with its doubt (a Kalman filter of two states, as in hopper/levelFilter.ts). The hopper's own filter can't
 * serve here: it believes the chute sensor and takes the scale's side in the end, and this one must hold on to "healthy"
 * for as long as it is to be weighed against its opposite.
 */
export interface ScaleTrack {
  readonly at: Instant | null; // the newest reading; null while there was none
  readonly level: number; // g
  readonly variance: number; // g²
  readonly portion: number; // g
  readonly portionVariance: number; // g², of the mean portion
  readonly covariance: number; // g²
  readonly noise: number; // g², of one reading, learnt while birds are about
  readonly portionAt: Instant | null;
  readonly portionsSince: number; // since the newest reading
  readonly odd: { readonly grams: number; readonly count: number } | null; // readings in a row that fit nothing
  readonly rise: number; // g an hour, by which it lately moved by itself while no portion was given
  readonly sprang: boolean; // it fell by far more than was given, and stayed there
}

/** What a hypothesis without falling food says the scale shows. */
export interface Held {
  readonly level: number; // g
  readonly variance: number; // g²
}

export const unweighed: ScaleTrack = {
  at: null,
  level: 0,
  variance: 0,
  portion: 0,
  portionVariance: 0,
  covariance: 0,
  noise: 0,
  portionAt: null,
  portionsSince: 0,
  odd: null,
  rise: 0,
  sprang: false,
};

/** 0.3 % a portion, so that a new sort of food is learnt in some days. */
const portionWander = 0.003;
const noiseMin = 0.5 ** 2;
const readingsRemembered = 200;
/** Wind and birds come by day: how much a reading trembles is learnt within this span of a portion. */
const birdsAbout = 1; // hours
/** So many spreads off, nothing that the feed does can be the reason: a bird on the perch, a hand, a refill. */
const oddFrom = 6;
/** A bird leaves again. What stays for so many readings is where the scale stands now. */
const oddReadings = 4;

export const portionSpread = (track: ScaleTrack): number => portionDoubt * track.portion;

/** A portion was given, and food falls. */
export function sunkByPortion(track: ScaleTrack, at: Instant): ScaleTrack {
  if (track.at === null) return track;
  const spread = portionSpread(track);
  return {
    at: track.at,
    level: track.level - track.portion,
    variance: Math.max(track.variance - 2 * track.covariance + track.portionVariance, 0) + spread * spread,
    portion: track.portion,
    portionVariance: track.portionVariance + (portionWander * track.portion) ** 2,
    covariance: track.covariance - track.portionVariance,
    noise: track.noise,
    portionAt: at,
    portionsSince: track.portionsSince + 1,
    odd: track.odd,
    rise: track.rise,
    sprang: track.sprang,
  };
}

export interface Weighing {
  readonly track: ScaleTrack;
  /** g², by which doubt has grown since the last reading, for every hypothesis alike; null: the reading counts for nothing. */
  readonly wander: number | null;
  /** The scale stands elsewhere now: all levels begin anew from here. */
  readonly anew: boolean;
}

export interface Suspected {
  readonly calm: boolean; // nothing is suspected, so habits may be learnt
  readonly held: readonly Held[]; // what the suspects say that the scale shows
}

export function weighedBy(
  track: ScaleTrack,
  reading: number,
  at: Instant,
  settings: FeederSettings,
  { calm, held }: Suspected,
): Weighing {
  if (track.at === null) return { track: startedAt(unlearnt(track, settings), reading, at), wander: null, anew: true };
  const hours = Math.max(inHours((at - track.at) as Span), 0);
  const wander = hours * wanderPerHour(track, settings);
  const variance = track.variance + wander;
  const total = variance + track.noise;
  const off = reading - track.level;

  const fits = (level: number, spread: number) =>
    Math.abs(reading - level) < Math.max(oddFrom * Math.sqrt(spread), oddMin);
  if (!fits(track.level, total) && !held.some((one) => fits(one.level, one.variance + wander + track.noise))) {
    const again =
      track.odd !== null && Math.abs(reading - track.odd.grams) < 2 * oddMin + oddFrom * Math.sqrt(track.noise);
    const count = again ? track.odd.count + 1 : 1;
    const odd = { grams: reading, count };
    if (count < oddReadings) return { track: { ...track, odd }, wander: null, anew: false };
    const sprang = off < 0 && track.portionsSince < 3;
    return { track: { ...startedAt(track, reading, at), sprang }, wander: null, anew: true };
  }
  const gain = variance / total;
  const portionGain = calm ? track.covariance / total : 0;
  return {
    track: {
      at,
      level: track.level + gain * off,
      variance: (1 - gain) * variance,
      portion: Math.min(
        Math.max(track.portion + portionGain * off, 0.2 * settings.portionMass),
        5 * settings.portionMass,
      ),
      portionVariance: track.portionVariance - portionGain * track.covariance,
      covariance: (1 - gain) * track.covariance,
      noise: calm ? learntNoise(track, at, off, variance) : track.noise,
      portionAt: track.portionAt,
      portionsSince: 0,
      odd: null,
      rise: risen(track, gain * off, hours),
      sprang: track.sprang,
    },
    wander,
    anew: false,
  };
}

/** How much likelier this reading is if it is held where a suspect says than if food falls. */
export function logHeld(track: ScaleTrack, held: Held, reading: number, wander: number): number {
  const falls = logBell(reading - track.level, track.variance + wander + track.noise);
  return logBell(reading - held.level, held.variance + wander + track.noise) - falls;
}

export function heldBy(held: Held, reading: number, wander: number, noise: number): Held {
  const variance = held.variance + wander;
  const gain = variance / (variance + noise);
  return { level: held.level + gain * (reading - held.level), variance: (1 - gain) * variance };
}

const oddMin = 15;

/**
 * g², by which the zero wanders in an hour. Snow on the lid adds a dozen grams an hour for hours on end, about what birds eat,
 * and thaw takes more: what moves by itself between two portions is no drift any more, and nothing is concluded from it.
 */
function wanderPerHour({ rise }: ScaleTrack, settings: FeederSettings): number {
  const usual = scaleDrift(settings) ** 2 / 24;
  // An exponential window of an hour averages a random walk down to the root of half of its hourly variance.
  const more = Math.max(0, Math.abs(rise) - 2 * Math.sqrt(usual / 2));
  return usual + more * more;
}

function risen({ rise, portionsSince }: ScaleTrack, rose: number, hours: number): number {
  const left = Math.exp(-hours / riseRemembered) * rise;
  const kept = Math.abs(left) < riseLeast ? 0 : left; // what fades for months ends below what a number can hold
  return portionsSince > 0 ? kept : kept + rose / riseRemembered;
}
const riseRemembered = 1; // hours
const riseLeast = 1e-9; // g an hour

const unlearnt = (track: ScaleTrack, settings: FeederSettings): ScaleTrack =>
  track.portion > 0
    ? track
    : {
        ...track,
        portion: settings.portionMass,
        portionVariance: (portionDoubt * settings.portionMass) ** 2,
        noise: scaleNoise(settings) ** 2,
      };

const startedAt = (track: ScaleTrack, reading: number, at: Instant): ScaleTrack => ({
  ...track,
  at,
  level: reading,
  variance: track.noise,
  covariance: 0,
  portionsSince: 0,
  odd: null,
});

function learntNoise(track: ScaleTrack, at: Instant, off: number, variance: number): number {
  if (track.portionsSince > 0 || track.portionAt === null) return track.noise;
  if (inHours((at - track.portionAt) as Span) > birdsAbout) return track.noise;
  const total = variance + track.noise;
  const learnt = track.noise + (Math.min(off * off, 9 * total) - total) / readingsRemembered;
  return Math.max(learnt, noiseMin);
}
