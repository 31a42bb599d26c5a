import { days, hours, type Instant, later, minutes } from "../instant.ts";
import type { Place } from "../settings.ts";
import { type DayProfile, exposure, flatProfile, withBout } from "./dayProfile.ts";
import { logGammaSilence } from "./tails.ts";

/**
 * A sensor that stands alone is measured against the daylight that passes: so many bouts of use in so many hours with the
 * sun above -6° (all hours where the place isn't known), each hour weighed by how much it is used at that time of the day.
 */
export interface Bide {
  readonly bouts: number; // as learnt, older ones counting less
  readonly hours: number; // of exposure in which they came, likewise
  readonly squares: number; // of the exposure between bouts, likewise: bouts come in clusters
  readonly longest: number; // hours of exposure of the longest silence lately
  readonly seen: number; // bouts in all
  readonly since: Instant; // the first of them, or when watching began
  readonly from: Instant; // the silence is counted from here
  readonly profile: DayProfile;
}

export const unbided = (now: Instant): Bide => ({
  bouts: 0,
  hours: 0,
  squares: 0,
  longest: 0,
  seen: 0,
  since: now,
  from: now,
  profile: flatProfile,
});

/** The sensor spoke. */
export function boutContinued(bide: Bide, place: Place | null, at: Instant): Bide {
  if (bide.seen === 0) return { ...bide, seen: 1, since: at, from: at, profile: withBout(bide.profile, place, at) };
  if (at - bide.from < boutGap) return at > bide.from ? continued(bide, at) : bide;
  const spent = exposureOf(bide, place, at);
  const learn = !isTooLong(bide, spent, at);
  return {
    bouts: bide.bouts * kept + 1,
    hours: bide.hours * kept + (learn ? spent : 0),
    squares: bide.squares * kept + (learn ? spent * spent : 0),
    // Learnt even from a fault: whoever was alarmed once for nothing should not be so again for the same.
    longest: Math.max(bide.longest * longestKept, spent),
    seen: bide.seen + 1,
    since: bide.since,
    from: at,
    profile: withBout(bide.profile, place, at),
  };
}

/** It spoke, but not of birds: its silence is over, and nothing is learnt. */
export const heardOnly = (bide: Bide, at: Instant): Bide =>
  bide.seen > 0 && at > bide.from ? continued(bide, at) : bide;

/** The same bout goes on. Written out, not spread: it runs for most events. */
const continued = ({ bouts, hours, squares, longest, seen, since, profile }: Bide, from: Instant): Bide => ({
  bouts,
  hours,
  squares,
  longest,
  seen,
  since,
  from,
  profile,
});

/** Whether it has been silent for longer than its habits and a stormy day allow. */
export function bideTooLong(bide: Bide, place: Place | null, now: Instant): boolean {
  return mayBeTooLong(bide, now) && isTooLong(bide, exposureOf(bide, place, now), now);
}

/** ln of the chance of the silence, were the sensor in order. */
export const logBide = (bide: Bide, place: Place | null, now: Instant): number =>
  logSilence(bide, exposureOf(bide, place, now));

/** Cheap to ask, and seldom so. */
const mayBeTooLong = (bide: Bide, now: Instant): boolean =>
  bide.seen >= boutsMin && bide.from - bide.since >= historyMin && now - bide.from >= stormMax;

const isTooLong = (bide: Bide, spent: number, now: Instant): boolean =>
  mayBeTooLong(bide, now) && spent >= longestFactor * bide.longest && logSilence(bide, spent) <= logAllowed(bide, now);

/** Tempered by how clustered the bouts are (quasi-likelihood). */
function logSilence(bide: Bide, spent: number): number {
  if (bide.bouts === 0 || bide.hours === 0) return 0;
  const mean = bide.hours / bide.bouts;
  // Of exponential gaps the variance is the mean squared.
  const dispersion = Math.max(1, (bide.squares / bide.bouts - mean * mean) / (mean * mean));
  return logGammaSilence(bide.bouts, bide.hours, spent) / dispersion;
}

/** Wanted: less than one false alarm in a feeder's year; three sensors may stand alone; each bout starts one silence. */
const logAllowed = (bide: Bide, now: Instant) => -Math.log(3 * bide.seen * (days(365) / (now - bide.since)));

const exposureOf = (bide: Bide, place: Place | null, now: Instant): number =>
  exposure(bide.profile, place, bide.from, later(bide.from, now));

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
