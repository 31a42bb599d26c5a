import { type Instant, inDays, type Span } from "../instant.ts";

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

/**
 * How much evidence an alarm takes. A CUSUM of likelihood ratios with threshold h raises at most one false alarm in e^h portions
 * (Lorden 1971, Ann. Math. Stat. 42:1897), and of all tests with that rate it is the quickest (Moustakides 1986,
 * Ann. Stat. 14:1379). Wanted is one false alarm a feeder in a year of its portions, from all these tests together. The bound is
 * not lowered for steps that overshoot it: by how much that may be done differs from feeder to feeder.
 */
export const alarmThreshold = (rate: PortionRate): number => Math.log(365 * portionsPerDay(rate));

export const portionsPerDay = ({ portions, days }: PortionRate): number =>
  Math.min(Math.max(portions / days, perDayMin), perDayMax);
