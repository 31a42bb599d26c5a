import { emptyRollup, type Measure, mergeRollups, type Rollup } from "../../../server/domain/history/rollup.ts";
import { dayOf, hourOf, quarterLength, type RollupSpan } from "../../../server/domain/history/rollupSpans.ts";
import { after, days, type Instant, instantOf, milliseconds } from "../../../server/domain/instant.ts";
import { seededRandom } from "../../../server/practice/random.ts";

/**
 * A year of a busy feeder with all sensors, quarter by quarter: birds by daylight, a battery that the sun charges, a hopper that is
 * filled each week, an alarm now and then, and a line that is down for some hours each month.
 */
export const yearStart = instantOf("2026-01-01T00:00:00+01:00");
export const yearEnd = instantOf("2027-01-01T00:00:00+01:00");
export const yearZone = "Europe/Stockholm";

export interface SimulatedQuarter {
  readonly from: Instant;
  readonly rollup: Rollup;
}

export function simulateYear(seed: number): readonly SimulatedQuarter[] {
  const random = seededRandom(seed);
  const quarters: SimulatedQuarter[] = [];
  for (let from = yearStart; from < yearEnd; from = after(from, quarterLength)) {
    const isDown = Math.floor((from - yearStart) / days(1)) % 30 === 29 && new Date(from).getUTCHours() < 6;
    if (!isDown) quarters.push({ from, rollup: simulateQuarter(from, random) });
  }
  return quarters;
}

function simulateQuarter(from: Instant, { uniform, normal }: ReturnType<typeof seededRandom>): Rollup {
  const dayShare = (from / days(1)) % 1;
  const season = Math.cos((2 * Math.PI * (from - yearStart)) / days(365));
  const light = Math.max(0, Math.sin(2 * Math.PI * (dayShare - 0.25)) - 0.3 * season);
  const count = (most: number) => Math.floor(most * light * uniform());
  const measure = (mean: number, spread: number): Measure => {
    const readings = Array.from({ length: 15 }, () => Math.round(mean + spread * normal(0, 1)));
    const sum = readings.reduce((total, reading) => total + reading, 0);
    return { count: readings.length, sum, least: Math.min(...readings), most: Math.max(...readings) };
  };
  const hopper = 15_000 - Math.floor((((from - yearStart) / days(7)) % 1) * 14_000);
  const [deposits, presses] = [count(8), count(6)];
  const unpaid = deposits > 0 && uniform() < 0.05 ? 1 : 0;
  const celsius = 60 - 120 * season + 40 * light;
  return {
    counts: {
      ...emptyRollup.counts,
      reports: 15,
      reportedTime: quarterLength,
      pausedTime: uniform() < 0.01 ? milliseconds(300_000) : 0,
      visits: count(20),
      presses,
      deposits,
      depositsPaid: deposits - unpaid,
      depositsUnpaid: unpaid,
      timerPortions: count(2),
      pressPortions: presses,
      depositPortions: deposits - unpaid,
      alarmsRaised: uniform() < 0.001 ? 1 : 0,
    },
    decigramsGiven: 20 * (deposits + presses),
    level: {
      at: after(from, milliseconds(890_000)),
      last: hopper,
      low: hopper - 200,
      high: hopper + 200,
      least: hopper,
      most: hopper + 30,
    },
    measures: {
      air: measure(celsius, 3),
      inside: measure(celsius + 20, 3),
      supply: measure(505, 1),
      battery: measure(1_250 + 80 * light, 3),
      charge: measure(400 * light, 20),
    },
    standingAlarms: uniform() < 0.003 ? ["supplyWeak"] : [],
  };
}

/** As a store keeps them beside the quarters. */
export function mergeQuarters(
  quarters: readonly SimulatedQuarter[],
  spanOf: (at: Instant, zone: string) => RollupSpan,
): readonly SimulatedQuarter[] {
  const merged = new Map<Instant, Rollup>();
  for (const { from, rollup } of quarters) {
    const begin = spanOf(from, yearZone).from;
    merged.set(begin, mergeRollups(merged.get(begin) ?? emptyRollup, rollup));
  }
  return [...merged].map(([from, rollup]) => ({ from, rollup }));
}

export const rollupsOfLevel = (quarters: readonly SimulatedQuarter[]) => ({
  quarter: quarters,
  hour: mergeQuarters(quarters, hourOf),
  day: mergeQuarters(quarters, dayOf),
});
