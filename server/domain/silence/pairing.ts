import { days, type Instant, minutes, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { logBetaSilence } from "./tails.ts";

/**
 * How faithfully one sensor (the watched) answers another (the witness): after how many of the witness's marks the
 * watched speaks before the next mark. A button beside a perch is pressed on so many landings in a hundred, in storm and
 * in sunshine, on a slow yard and on a fast one: a silence counted in landings needs no clock and no weather report.
 */
export interface Pairing {
  /** Marks that were answered and not, as learnt from closed runs, older ones counting less. */
  readonly hits: number;
  readonly misses: number;
  /** Sum of squares of the misses before a hit, likewise faded: birds come in flocks, so runs vary more than dice do. */
  readonly squares: number;
  /** Marks since the watched last spoke. The last of them may still be answered. */
  readonly open: number;
  /** Runs in a row that closed only after they were found too long, and so weren't learnt. */
  readonly strange: number;
  /** Runs closed since `since`, for the pace. */
  readonly runs: number;
  readonly since: Instant;
  /** How many times birds came in which a run closed, at most one in `boutApart`, and the last of them. */
  readonly bouts: number;
  readonly boutAt: Instant;
}

export const unpaired = (since: Instant): Pairing => ({
  hits: 0,
  misses: 0,
  squares: 0,
  open: 0,
  strange: 0,
  runs: 0,
  since,
  bouts: 0,
  boutAt: since,
});

/** The witness saw something. Written out, not spread: this and `answered` run for every event. */
export const marked = ({ hits, misses, squares, open, strange, runs, since, bouts, boutAt }: Pairing): Pairing => ({
  hits,
  misses,
  squares,
  open: open + 1,
  strange,
  runs,
  since,
  bouts,
  boutAt,
});

/** The marks since the watched last spoke count for nothing: one of the two chatters. */
export const forgotten = (pairing: Pairing): Pairing => (pairing.open === 0 ? pairing : { ...pairing, open: 0 });

/** The watched spoke: its run of misses is over, and is learnt from. */
export function answered(pairing: Pairing, at: Instant, yard: Yard): Pairing {
  if (pairing.open === 0) return pairing; // a second press on the same landing
  const before = pairing.open - 1;
  if (before === 0 || !tooLong(pairing, at, yard)) return learnt(pairing, before, 0, at);
  // Three such runs one after the other are no faults that came and went, but the birds' new habit: learn it anew.
  if (pairing.strange + 1 >= strangeThatMakeAHabit) return unpaired(at);
  // A sensor that was dead and was mended isn't one that answers seldom. But if it was never dead and the birds came in
  // longer streaks than we knew, we must learn it: so such a run counts for as long as it was still credible.
  return learnt(pairing, credibleRun(pairing, at, yard), pairing.strange + 1, at);
}

function learnt(pairing: Pairing, before: number, strange: number, at: Instant): Pairing {
  const elapsed = at - pairing.since;
  // Halved now and then, so that the pace can change with the seasons.
  const halve = elapsed > days(60);
  const again = pairing.bouts === 0 || at - pairing.boutAt >= boutApart;
  return {
    hits: pairing.hits * kept + 1,
    misses: pairing.misses * kept + before,
    squares: pairing.squares * kept + before * before,
    open: 0,
    strange,
    runs: 1 + (halve ? pairing.runs / 2 : pairing.runs),
    since: halve ? ((at - elapsed / 2) as Instant) : pairing.since,
    bouts: pairing.bouts + (again ? 1 : 0),
    boutAt: again ? at : pairing.boutAt,
  };
}

/** The longest run of misses that would not be too long. */
function credibleRun(pairing: Pairing, at: Instant, yard: Yard): number {
  let low = 0;
  let high = pairing.open - 1;
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    if (tooLong({ ...pairing, open: middle + 1 }, at, yard)) high = middle;
    else low = middle;
  }
  return low;
}

/**
 * Enough is learnt to dare a judgement: with twenty answers (the older of which have faded a little) the share is known to
 * about a fifth (1 / √20), and what is unknown of it is in the predictive chance already. That is some thirty presses,
 * since several may fall on one landing.
 */
const hitsMin = 19;
export const isLearnt = (pairing: Pairing): boolean => pairing.hits >= hitsMin;

/** A practice yard's birds come one by one, and nobody waits for days there to see what an alarm looks like. */
export type Yard = Pick<FeederSettings, "practice">;

/** Whether the open run of misses is longer than chance and the birds' habits allow. */
export const tooLong = (pairing: Pairing, now: Instant, yard: Yard): boolean =>
  pairing.open > 1 &&
  isLearnt(pairing) &&
  (yard.practice || now - pairing.since >= historyMin) &&
  logSilence(pairing, yard) <= logAllowed(pairing, now);

/**
 * ln of the chance of the open run, were the watched in order. Birds that never press come in streaks, so the chance is
 * tempered by the dispersion of the runs learnt (quasi-likelihood; McCullagh & Nelder 1989, ch. 4.5).
 */
export function logSilence(pairing: Pairing, yard: Yard): number {
  const certain = Math.max(0, pairing.open - 1);
  if (certain === 0 || pairing.hits === 0) return 0;
  return logBetaSilence(pairing.hits, pairing.misses + doubtMisses, certain) / dispersion(pairing, yard);
}

/**
 * Wanted: at most one false "silent" in a feeder's year over all its sensors, of which six pairs share the blame. Each run
 * is one chance to be wrong (looking again at the same run adds none), so a run may be wrong with 1 / (6 x runs a year).
 */
function logAllowed(pairing: Pairing, now: Instant): number {
  const elapsed = Math.max(paceMin, now - pairing.since);
  return -Math.log(pairsWatched * Math.max(1, pairing.runs) * (days(365) / elapsed));
}

/** How much more the runs vary than those of a fair die with the same share; 1 or more. */
function dispersion(pairing: Pairing, yard: Yard): number {
  const mean = (pairing.misses + doubtMisses) / pairing.hits;
  const variance = pairing.squares / pairing.hits - (pairing.misses / pairing.hits) ** 2;
  const fair = mean + mean * mean; // of a geometric run with that mean
  // As if twenty fair runs had been seen beside: the variance of few runs says little.
  const seen = Math.max(1, (pairing.hits * variance + doubtRuns * fair) / ((pairing.hits + doubtRuns) * fair));
  if (yard.practice) return seen;
  // Thirty presses by one flock in one morning don't show what the next flock does: until birds have come many times, they
  // are presumed to come in flocks.
  const presumed = (doubtBouts / (pairing.bouts + doubtBouts)) ** 2;
  return (1 - presumed) * seen + presumed * Math.max(seen, flocks);
}

/** A pace is taken over a day at the least: nobody's year is known from ten minutes. */
const paceMin: Span = days(1);
const pairsWatched = 6;
/** Weight kept of the old with each closed run: the last few hundred count, a week to a season by the yard. */
const kept = 1 - 1 / 300;
/** Half a miss that nobody saw (Jeffreys' prior): no sensor is believed to be perfect. */
const doubtMisses = 0.5;
const doubtRuns = 20;
/**
 * By when that presumption has faded to a quarter; it goes with the square, since by then flocks, if there were any, have shown in
 * the runs themselves. Measured on flocks and on birds that come one by one (test/bench/silentSensors.ts).
 */
const doubtBouts = 8;
/** How much more runs vary where dozens come that never press. Likewise. */
const flocks = 6;
const boutApart = minutes(20);
/** Two days at the least: one doesn't tell how the next one's birds differ. */
const historyMin = days(2);
const strangeThatMakeAHabit = 3;
