import fc from "fast-check";
import { faultKinds } from "../../../server/domain/faults.ts";
import {
  type CountName,
  countNames,
  type LevelRollup,
  type Measure,
  type Rollup,
} from "../../../server/domain/history/rollup.ts";
import { instant } from "../../../server/domain/instant.ts";

/** Clocks that change by an hour, by half an hour, at midnight, near a month of fasting, never; half and three quarters off. */
export const zones = [
  "Europe/Stockholm",
  "Australia/Lord_Howe",
  "America/St_Johns",
  "Asia/Kathmandu",
  "Asia/Kolkata",
  "Asia/Beirut",
  "America/Havana",
  "Africa/Casablanca",
  "Pacific/Apia",
  "UTC",
] as const;

const count = fc.integer({ min: -20, max: 2_000_000 });
const level = fc.integer({ min: -500, max: 1_050_000 });

const levelRollup: fc.Arbitrary<LevelRollup> = fc
  // Few moments, so that two estimates often have the same one.
  .record({
    at: fc.integer({ min: 1_790_000_000_000, max: 1_790_000_000_003 }),
    levels: fc.array(level, { minLength: 5, maxLength: 5 }),
  })
  .map(({ at, levels }) => {
    const [least = 0, low = 0, last = 0, high = 0, most = 0] = levels.toSorted((a, b) => a - b);
    return { at: instant(at), last, low, high, least, most };
  });

const measure: fc.Arbitrary<Measure> = fc
  .array(fc.integer({ min: -1_000, max: 20_000 }), { minLength: 1, maxLength: 20 })
  .map((values) => ({
    count: values.length,
    sum: values.reduce((sum, value) => sum + value, 0),
    least: Math.min(...values),
    most: Math.max(...values),
  }));

const maybe = <Value>(value: fc.Arbitrary<Value>) => fc.option(value, { nil: null, freq: 4 });

export const rollup: fc.Arbitrary<Rollup> = fc.record(
  {
    counts: fc.record(
      Object.fromEntries(countNames.map((name) => [name, fc.oneof(fc.constant(0), count)])) as Record<
        CountName,
        fc.Arbitrary<number>
      >,
      { noNullPrototype: true },
    ),
    decigramsGiven: maybe(count),
    level: maybe(levelRollup),
    measures: fc.record(
      {
        air: maybe(measure),
        inside: maybe(measure),
        supply: maybe(measure),
        battery: maybe(measure),
        charge: maybe(measure),
      },
      { noNullPrototype: true },
    ),
    standingAlarms: fc.subarray([...faultKinds], { maxLength: 4 }).map((kinds) => kinds.toSorted()),
  },
  { noNullPrototype: true },
);
