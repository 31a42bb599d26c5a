import { days, hours, type Instant, later, minutes } from "../instant.ts";
import type { Place } from "../settings.ts";
import { type DayProfile, exposure, initialDayProfile, updateDayProfile } from "./dayProfile.ts";
import { logGammaSilence } from "./tailProbabilities.ts";

/**
 * A sensor without companions is measured against the daylight that passes: so many bouts of use in so many hours with the
 * sun above -6° (all hours where the place isn't known), each hour weighted by how much it is used at that time of the day.
 */
export interface SilenceStatistics {
  readonly boutWeight: number; // as learnt, older ones counting less
  readonly exposureHours: number; // of exposure in which they came, likewise
  readonly exposureSquares: number; // of the exposure between bouts, likewise: bouts come in clusters
  readonly longestHours: number; // hours of exposure of the longest recent silence
  readonly boutsSeen: number; // bouts in all
  readonly since: Instant; // the first of them, or when watching began
  readonly silentSince: Instant; // the silence is counted from here
  readonly profile: DayProfile;
}

export const initialSilenceStatistics = (now: Instant): SilenceStatistics => ({
  boutWeight: 0,
  exposureHours: 0,
  exposureSquares: 0,
  longestHours: 0,
  boutsSeen: 0,
  since: now,
  silentSince: now,
  profile: initialDayProfile,
});

/** The sensor gave a signal. */
export function updateSilenceByBout(
  statistics: SilenceStatistics,
  place: Place | null,
  at: Instant,
): SilenceStatistics {
  if (statistics.boutsSeen === 0)
    return {
      ...statistics,
      boutsSeen: 1,
      since: at,
      silentSince: at,
      profile: updateDayProfile(statistics.profile, place, at),
    };
  if (at - statistics.silentSince < boutGapMax)
    return at > statistics.silentSince ? continueBout(statistics, at) : statistics;
  const exposureHours = silenceExposure(statistics, place, at);
  const learn = !isGapTooLong(statistics, exposureHours, at);
  return {
    boutWeight: statistics.boutWeight * boutsKeptShare + 1,
    exposureHours: statistics.exposureHours * boutsKeptShare + (learn ? exposureHours : 0),
    exposureSquares: statistics.exposureSquares * boutsKeptShare + (learn ? exposureHours * exposureHours : 0),
    // Learnt even from a fault: whoever was alarmed once for nothing should not be so again for the same.
    longestHours: Math.max(statistics.longestHours * longestKeptShare, exposureHours),
    boutsSeen: statistics.boutsSeen + 1,
    since: statistics.since,
    silentSince: at,
    profile: updateDayProfile(statistics.profile, place, at),
  };
}

/** It spoke, but not of birds: its silence is over, and nothing is learnt. */
export const endSilence = (statistics: SilenceStatistics, at: Instant): SilenceStatistics =>
  statistics.boutsSeen > 0 && at > statistics.silentSince ? continueBout(statistics, at) : statistics;

/** The same bout goes on. Written out, not spread: it runs for most events. */
const continueBout = (
  { boutWeight, exposureHours, exposureSquares, longestHours, boutsSeen, since, profile }: SilenceStatistics,
  silentSince: Instant,
): SilenceStatistics => ({
  boutWeight,
  exposureHours,
  exposureSquares,
  longestHours,
  boutsSeen,
  since,
  silentSince,
  profile,
});

/** Whether it has been silent for longer than is usual and than a stormy day explains. */
export function isSilentTooLong(statistics: SilenceStatistics, place: Place | null, now: Instant): boolean {
  return canBeTooLong(statistics, now) && isGapTooLong(statistics, silenceExposure(statistics, place, now), now);
}

/** ln of the probability of the silence if the sensor works. */
export const logSilenceProbability = (statistics: SilenceStatistics, place: Place | null, now: Instant): number =>
  logGapProbability(statistics, silenceExposure(statistics, place, now));

/** Cheap, and seldom true. */
const canBeTooLong = (statistics: SilenceStatistics, now: Instant): boolean =>
  statistics.boutsSeen >= boutsMin &&
  statistics.silentSince - statistics.since >= historyMin &&
  now - statistics.silentSince >= stormSpanMax;

const isGapTooLong = (statistics: SilenceStatistics, exposureHours: number, now: Instant): boolean =>
  canBeTooLong(statistics, now) &&
  exposureHours >= longestFactor * statistics.longestHours &&
  logGapProbability(statistics, exposureHours) <= logProbabilityAllowed(statistics, now);

/** Tempered by how clustered the bouts are (quasi-likelihood). */
function logGapProbability(statistics: SilenceStatistics, exposureHours: number): number {
  if (statistics.boutWeight === 0 || statistics.exposureHours === 0) return 0;
  const mean = statistics.exposureHours / statistics.boutWeight;
  // Of exponential gaps the variance is the mean squared.
  const dispersion = Math.max(1, (statistics.exposureSquares / statistics.boutWeight - mean * mean) / (mean * mean));
  return logGammaSilence(statistics.boutWeight, statistics.exposureHours, exposureHours) / dispersion;
}

/** Wanted: less than one false alarm in a feeder's year; three sensors may have no companions; each bout starts one silence. */
const logProbabilityAllowed = (statistics: SilenceStatistics, now: Instant) =>
  -Math.log(3 * statistics.boutsSeen * (days(365) / (now - statistics.since)));

const silenceExposure = (statistics: SilenceStatistics, place: Place | null, now: Instant): number =>
  exposure(statistics.profile, place, statistics.silentSince, later(statistics.silentSince, now));

/** Uses closer than this are one bout: a bird at work. Common practice, no source. */
const boutGapMax = minutes(10);
/** With 30 bouts the rate is known to about a fifth (1 / √30). */
const boutsMin = 30;
/** Used through two nights at the least: less doesn't tell how mornings differ from noons, nor one day from the next. */
const historyMin = days(2);
/** A day of storm with the night on either side keeps every bird away, and no other sensor shows it. */
const stormSpanMax = hours(48);
const longestFactor = 1.5;
const boutsKeptShare = 1 - 1 / 300;
/** Half forgotten after some 3,500 bouts: a season or two. */
const longestKeptShare = 1 - 1 / 5_000;
