import { between, days, type Instant, instant, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";
import { initialReporting, silenceBeginsAt, updateReporting } from "../../../server/domain/silence/feederSilence.ts";
import { type RandomSource, seededRandom } from "../../../server/practice/random.ts";
import { larchSettings } from "./larch.ts";

/**
 * A line as a feeder's reports cross it, for gaps only: which of the reports sent each `every` come in, and how late. Losses
 * come singly or in runs (Gilbert 1960, Elliott 1963: a good and a bad state, each with its own share of losses).
 */
export interface NetworkModel {
  readonly lost: number; // share of reports lost while the line is good
  readonly jitter: number; // standard deviation of the way, in parts of the interval
  /** Bad stretches: how many a day, mean length in reports, share lost in them. */
  readonly bad: { readonly aDay: number; readonly reports: number; readonly lost: number } | null;
  /** Whole outages: how many a day, median length in reports, spread of its logarithm. */
  readonly outages: { readonly aDay: number; readonly reports: number; readonly spread: number } | null;
}

const good: NetworkModel = { lost: 0.005, jitter: 0.02, bad: null, outages: null };

export const networkModels = {
  faultless: { ...good, lost: 0 },
  good: { ...good, lost: 0.01 },
  middling: { ...good, lost: 0.05 },
  poor: { ...good, lost: 0.15 },
  /** A neighbour's Wi-Fi at dinner time: minutes in which nearly nothing gets through. */
  dinner: { ...good, bad: { aDay: 1, reports: 6, lost: 0.8 } },
  /** The same three times a day, shorter and denser. */
  bursty: { ...good, bad: { aDay: 3, reports: 4, lost: 0.9 } },
  /** A router that starts anew each night and takes two to five minutes. */
  nightly: { ...good, outages: { aDay: 1, reports: 3, spread: 0.2 } },
  /** An outage a week, of five minutes or of twenty. */
  weekly: { ...good, outages: { aDay: 1 / 7, reports: 5, spread: 0.6 } },
} as const satisfies Record<string, NetworkModel>;
export type NetworkModelName = keyof typeof networkModels;

/** Gaps between the reports that came in, in parts of the interval, for so many reports sent. */
function* gaps(random: RandomSource, line: NetworkModel, reports: number, reportsADay: number): Generator<number> {
  let lastAt = 0;
  let bad = false;
  let downUntil = 0;
  for (let sent = 1; sent <= reports; sent++) {
    if (line.bad !== null) {
      if (bad) bad = !random.isTrueWith(1 / line.bad.reports);
      else bad = random.isTrueWith(line.bad.aDay / reportsADay);
    }
    if (line.outages !== null && random.isTrueWith(line.outages.aDay / reportsADay)) {
      downUntil = sent + line.outages.reports * Math.exp(line.outages.spread * random.normal(0, 1));
    }
    if (sent < downUntil) continue;
    const lost = bad && line.bad !== null ? line.bad.lost : line.lost;
    if (lost > 0 && random.isTrueWith(lost)) continue;
    const at = sent + Math.max(0, line.jitter * (1 + random.normal(0, 1)));
    if (at <= lastAt) continue;
    yield at - lastAt;
    lastAt = at;
  }
}

const every: Span = minutes(1);
const perDay = days(1) / every;

/** A healthy feeder on such a line, a report a minute. All in reports but `falseAt`: milliseconds from the start. */
export function simulateNetwork(name: NetworkModelName, seed: number, length: Span) {
  const start = instantOf("2026-01-15T00:00:00Z");
  let at: number = start;
  let link = updateReporting(initialReporting(start), { boot: "b", sentUptime: 0 as Span, reportEvery: every }, start);
  const late: number[] = []; // gaps of three reports and more
  const waits: number[] = []; // how long it would have been waited for, computed once a day
  const falseAt: number[] = [];
  let day = 0;
  for (const gap of gaps(seededRandom(seed), networkModels[name], length / every, perDay)) {
    const before = at as Instant;
    at += Math.round(gap * every);
    const asked = gap >= 2.5 || at - start > day * days(1);
    const waited = asked ? between(before, silenceBeginsAt(link, larchSettings) as Instant) : Number.POSITIVE_INFINITY;
    if (at - start > day * days(1)) {
      day = Math.ceil((at - start) / days(1));
      waits.push(waited / every);
    }
    if (gap >= 2.5) late.push(gap);
    if (gap * every >= waited) falseAt.push(at - start);
    const now = instant(at);
    link = updateReporting(link, { boot: "b", sentUptime: between(start, now), reportEvery: every }, now);
  }
  return { late, waits, falseAt };
}
