import { after, type Instant, type Span } from "../../server/domain/instant.ts";
import { poisson } from "../../server/practice/model/birdDay.ts";
import type { RandomSource } from "../../server/practice/random.ts";

export interface UplinkParameters {
  readonly lost: number; // share of reports
  readonly burstsPerDay: number;
  readonly burstMinutes: number;
  readonly outagesPerMonth: number; // of hours, of server or router
  readonly rebootsPerMonth: number;
}

/** The way from a feeder to the server: single reports get lost, short bursts of them, and all of some hours. */
export interface Uplink {
  readonly outage: { readonly from: Instant; readonly until: Instant };
  readonly burstUntil: Instant;
}

export const initialUplink = (at: Instant): Uplink => ({ outage: { from: at, until: at }, burstUntil: at });

/** Draws the outage of a day that begins at `from`, if there is one. */
export function planOutage(uplink: Uplink, parameters: UplinkParameters, from: Instant, random: RandomSource): Uplink {
  if (poisson(parameters.outagesPerMonth / 30, random) === 0) return uplink;
  const begins = after(from, Math.round(random.between(0, 24) * 3_600_000) as Span);
  const until = after(begins, Math.round(random.between(0.3, 10) * 3_600_000) as Span);
  return { ...uplink, outage: { from: begins, until } };
}

/** A burst of losses may begin with this report. */
export function beginBurst(
  uplink: Uplink,
  { burstsPerDay, burstMinutes }: UplinkParameters,
  reportEverySeconds: number,
  at: Instant,
  random: RandomSource,
): Uplink {
  if (at <= uplink.burstUntil || !random.isTrueWith((burstsPerDay * reportEverySeconds) / 86_400)) return uplink;
  const lasts = Math.round(-Math.log(1 - random.uniform()) * burstMinutes * 60_000) as Span;
  return { ...uplink, burstUntil: after(at, lasts) };
}

/** Whether a report that is sent at this moment gets lost. */
export const isLost = (
  { burstUntil, outage }: Uplink,
  { lost }: UplinkParameters,
  at: Instant,
  random: RandomSource,
): boolean => random.isTrueWith(lost) || at < burstUntil || (at >= outage.from && at < outage.until);
