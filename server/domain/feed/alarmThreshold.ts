import { type Instant, inDays, type Span } from "../instant.ts";
import type { Hypothesis } from "./faultSignatures.ts";

/** How many portions this feeder gives in a day, over some two weeks: so many chances a year to cry wolf. */
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

export function updatePortionRate(pace: PortionRate, at: Instant): PortionRate {
  if (pace.at === null) return { portions: pace.portions, days: pace.days, at };
  const passed = Math.max(inDays((at - pace.at) as Span), 0);
  const kept = Math.exp(-passed / daysRemembered);
  return { portions: pace.portions * kept + 1, days: pace.days * kept + passed, at };
}

/** What can be told from: a current counts once it is known what is usual. */
export interface AvailableSensors {
  readonly chute: boolean;
  readonly scale: boolean;
  readonly current: boolean;
}

/**
 * How much evidence an alarm takes. A CUSUM of likelihood ratios that speaks above h cries wolf at most once in e^h portions
 * (Lorden 1971, Ann. Math. Stat. 42:1897), and of all tests that cry so seldom it is the quickest (Moustakides 1986,
 * Ann. Stat. 14:1379). Wanted is one false alarm a feeder in a year of its portions, from all these tests together.
 */
export function alarmThreshold({ portions, days }: PortionRate, suspect: Hypothesis, senses: AvailableSensors): number {
  const perDay = Math.min(Math.max(portions / days, perDayMin), perDayMax);
  return Math.log(365 * perDay) - expectedOvershoot(suspect, senses);
}

/**
 * Lorden's bound is far from reached: evidence comes in lumps that overshoot h, and doubt about what is learnt takes off
 * more. How much lower h may be for the wanted rate was measured on the bench of test/domain/feed, over a third of a million
 * healthy portions for each subset of sensors. A run of misses is the commonest false sign: what the chute sensor is accused of,
 * and what it alone tells, gets nothing off.
 */
function expectedOvershoot(suspect: Hypothesis, { chute, scale, current }: AvailableSensors): number {
  switch (suspect) {
    case "chuteBlind":
    case "chuteHalfBlind":
    case "chuteUndercounting":
      return -0.5;
    case "scaleStuck":
      return chute ? 2.5 : 0;
    case "emptyTray":
    case "trayJammed":
    case "motorStalled":
    case "motorNotTurning":
      if (chute) return scale || current ? 1.25 : 0.75;
      // A scale outdoors errs in ways that no bench has: snow, sun and birds. With nothing but it, nothing is taken off.
      return scale ? (current ? 1 : -1) : 3.5;
  }
}
