import { days, hours, type Instant, later, minutes } from "../instant.ts";
import type { Place } from "../settings.ts";
import { type DayProfile, exposure, initialDayProfile, updateDayProfile } from "./dayProfile.ts";
import { logGammaSilence } from "./tailProbabilities.ts";

/**
 * A sensor that stands alone is measured against the daylight that passes: so many bouts of use in so many hours with the
 * sun above -6° (all hours where the place isn't known), each hour weighed by how much it is used at that time of the day.
 */
export interface SilenceStatistics {
  readonly boutWeight: number; // as learnt, older ones counting less
  readonly exposureHours: number; // of exposure in which they came, likewise
  readonly exposureSquares: number; // of the exposure between bouts, likewise: bouts come in clusters
  readonly longestHours: number; // hours of exposure of the longest silence lately
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

/** The sensor spoke. */
export function updateSilenceByBout(bide: SilenceStatistics, place: Place | null, at: Instant): SilenceStatistics {
  if (bide.boutsSeen === 0)
    return { ...bide, boutsSeen: 1, since: at, silentSince: at, profile: updateDayProfile(bide.profile, place, at) };
  if (at - bide.silentSince < boutGap) return at > bide.silentSince ? continueBout(bide, at) : bide;
  const spent = silenceExposure(bide, place, at);
  const learn = !isGapTooLong(bide, spent, at);
  return {
    boutWeight: bide.boutWeight * kept + 1,
    exposureHours: bide.exposureHours * kept + (learn ? spent : 0),
    exposureSquares: bide.exposureSquares * kept + (learn ? spent * spent : 0),
    // Learnt even from a fault: whoever was alarmed once for nothing should not be so again for the same.
    longestHours: Math.max(bide.longestHours * longestKept, spent),
    boutsSeen: bide.boutsSeen + 1,
    since: bide.since,
    silentSince: at,
    profile: updateDayProfile(bide.profile, place, at),
  };
}

/** It spoke, but not of birds: its silence is over, and nothing is learnt. */
export const endSilence = (bide: SilenceStatistics, at: Instant): SilenceStatistics =>
  bide.boutsSeen > 0 && at > bide.silentSince ? continueBout(bide, at) : bide;

/** The same bout goes on. Written out, not spread: it runs for most events. */
const continueBout = (
  { boutWeight, exposureHours, exposureSquares, longestHours, boutsSeen, since, profile }: SilenceStatistics,
  from: Instant,
): SilenceStatistics => ({
  boutWeight,
  exposureHours,
  exposureSquares,
  longestHours,
  boutsSeen,
  since,
  silentSince: from,
  profile,
});

/** Whether it has been silent for longer than its habits and a stormy day allow. */
export function isSilentTooLong(bide: SilenceStatistics, place: Place | null, now: Instant): boolean {
  return canBeTooLong(bide, now) && isGapTooLong(bide, silenceExposure(bide, place, now), now);
}

/** ln of the chance of the silence, were the sensor in order. */
export const logSilenceProbability = (bide: SilenceStatistics, place: Place | null, now: Instant): number =>
  logGapProbability(bide, silenceExposure(bide, place, now));

/** Cheap to ask, and seldom so. */
const canBeTooLong = (bide: SilenceStatistics, now: Instant): boolean =>
  bide.boutsSeen >= boutsMin && bide.silentSince - bide.since >= historyMin && now - bide.silentSince >= stormMax;

const isGapTooLong = (bide: SilenceStatistics, spent: number, now: Instant): boolean =>
  canBeTooLong(bide, now) &&
  spent >= longestFactor * bide.longestHours &&
  logGapProbability(bide, spent) <= logProbabilityAllowed(bide, now);

/** Tempered by how clustered the bouts are (quasi-likelihood). */
function logGapProbability(bide: SilenceStatistics, spent: number): number {
  if (bide.boutWeight === 0 || bide.exposureHours === 0) return 0;
  const mean = bide.exposureHours / bide.boutWeight;
  // Of exponential gaps the variance is the mean squared.
  const dispersion = Math.max(1, (bide.exposureSquares / bide.boutWeight - mean * mean) / (mean * mean));
  return logGammaSilence(bide.boutWeight, bide.exposureHours, spent) / dispersion;
}

/** Wanted: less than one false alarm in a feeder's year; three sensors may stand alone; each bout starts one silence. */
const logProbabilityAllowed = (bide: SilenceStatistics, now: Instant) =>
  -Math.log(3 * bide.boutsSeen * (days(365) / (now - bide.since)));

const silenceExposure = (bide: SilenceStatistics, place: Place | null, now: Instant): number =>
  exposure(bide.profile, place, bide.silentSince, later(bide.silentSince, now));

/** Uses closer than this are one bout: a bird at work. Common practice, no source. */
const boutGap = minutes(10);
/** With 30 bouts the rate is known to about a fifth (1 / √30). */
const boutsMin = 30;
/** Used through two nights at the least: less doesn't tell how mornings differ from noons, nor one day from the next. */
const historyMin = days(2);
/** A day of storm with the night on either side keeps every bird away, and nothing else here could tell. */
const stormMax = hours(48);
const longestFactor = 1.5;
const kept = 1 - 1 / 300;
/** Half forgotten after some 3,500 bouts: a season or two. */
const longestKept = 1 - 1 / 5_000;
