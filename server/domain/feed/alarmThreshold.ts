import { type Instant, inDays, type Span } from "../instant.ts";
import type { Hypothesis } from "./faultSignatures.ts";

/** How many portions this feeder gives in a day, over some two weeks: the number of possible false alarms. */
export interface PortionRate {
  readonly portions: number;
  readonly days: number;
  readonly at: Instant | null;
}

/** A hundred a day until it is known better. Common practice, no source. */
export const initialPortionRate: PortionRate = { portions: 100, days: 1, at: null };

const daysRemembered = 14;
const perDayMin = 20;
const perDayMax = 400;

export function updatePortionRate(rate: PortionRate, at: Instant): PortionRate {
  if (rate.at === null) return { portions: rate.portions, days: rate.days, at };
  const passed = Math.max(inDays((at - rate.at) as Span), 0);
  const fading = Math.exp(-passed / daysRemembered);
  return { portions: rate.portions * fading + 1, days: rate.days * fading + passed, at };
}

/** Sensors with evidence: a current counts once it is known what is usual. */
export interface AvailableSensors {
  readonly chute: boolean;
  readonly scale: boolean;
  readonly current: boolean;
}

/**
 * How much evidence an alarm takes. A CUSUM of likelihood ratios with threshold h raises at most one false alarm in e^h portions
 * (Lorden 1971, Ann. Math. Stat. 42:1897), and of all tests with that rate it is the quickest (Moustakides 1986,
 * Ann. Stat. 14:1379). Wanted is one false alarm a feeder in a year of its portions, from all these tests together.
 */
export function alarmThreshold(
  { portions, days }: PortionRate,
  hypothesis: Hypothesis,
  sensors: AvailableSensors,
): number {
  const perDay = Math.min(Math.max(portions / days, perDayMin), perDayMax);
  return Math.log(365 * perDay) - expectedOvershoot(hypothesis, sensors);
}

/**
 * Lorden's bound is far from reached: evidence comes in steps that overshoot h, and the uncertainty of what is learnt lowers
 * it more. How much lower h may be for the wanted rate was measured with the model of test/domain/feed, over a third of a
 * million healthy portions for each subset of sensors. A run of misses is the most common false evidence: hypotheses about the
 * chute sensor, and those that rest on it alone, get no reduction.
 */
function expectedOvershoot(hypothesis: Hypothesis, sensors: AvailableSensors): number {
  switch (hypothesis) {
    case "chuteBlind":
    case "chuteHalfBlind":
    case "chuteUndercounting":
      return -0.5;
    case "scaleStuck":
      return sensors.chute ? 2.5 : 0;
    case "emptyTray":
    case "trayJammed":
    case "motorStalled":
    case "motorNotTurning":
      return overshootWithoutFood(sensors);
  }
}

function overshootWithoutFood({ chute, scale, current }: AvailableSensors): number {
  if (chute) return scale || current ? 1.25 : 0.75;
  // A scale outdoors errs in ways that the model lacks: snow, sun and birds. With a scale alone there is no reduction.
  return scale ? (current ? 1 : -1) : 3.5;
}
