import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { planHistory } from "../../../server/domain/history/historyPlan.ts";
import { dayOf, hourOf, quarterOf } from "../../../server/domain/history/rollupSpans.ts";
import { days, hours, instant, instantOf, isoOf } from "../../../server/domain/instant.ts";
import { localDateOf, localTimeOf, weekdayOf } from "../../../server/domain/localTime.ts";
import { zones } from "./rollupFixture.ts";

const zone = "Europe/Stockholm";
const planOf = (from: string, to: string, points: number) =>
  planHistory({ from: instantOf(from), to: instantOf(to), points, zone });

describe("the plan of a history", () => {
  it.each([
    ["2026-11-02T00:00:00+01:00", "2026-11-03T00:00:00+01:00", "quarter", 96],
    ["2026-11-02T00:00:00+01:00", "2026-11-16T00:00:00+01:00", "quarter", 14 * 48],
    ["2026-11-01T00:00:00+01:00", "2026-12-01T00:00:00+01:00", "hour", 30 * 24],
    ["2026-01-01T00:00:00+01:00", "2027-01-01T00:00:00+01:00", "hour", 730],
    ["2025-01-01T00:00:00+01:00", "2027-01-01T00:00:00+01:00", "day", 730],
    ["2017-01-02T00:00:00+01:00", "2027-01-04T00:00:00+01:00", "day", 522], // weeks
  ])("of %s to %s reads roll-ups of a %s", (from, to, level, buckets) => {
    const plan = planOf(from, to, 1_000);
    expect([plan.level, plan.starts.length]).toEqual([level, buckets]);
    expect([isoOf(plan.from), isoOf(plan.to)]).toEqual([isoOf(instantOf(from)), isoOf(instantOf(to))]);
  });

  it("has buckets of half a day from midnight and noon, also on the days on which the clock changes", () => {
    const plan = planOf("2026-01-01T00:00:00+01:00", "2027-01-01T00:00:00+01:00", 1_000);
    const times = new Set(plan.starts.map((start) => localTimeOf(start, zone)));
    expect([...times].sort()).toEqual(["00:00", "11:00", "12:00", "13:00"]);
  });

  it("has weeks that begin on a Monday", () => {
    const plan = planOf("2017-03-01T00:00:00Z", "2027-01-01T00:00:00Z", 1_000);
    expect(new Set(plan.starts.map((start) => weekdayOf(localDateOf(start, zone))))).toEqual(new Set(["Monday"]));
  });

  it("covers any span in any zone with as many buckets as wanted, each of whole roll-ups", () => {
    const spanOf = { quarter: quarterOf, hour: hourOf, day: dayOf };
    fc.assert(
      fc.property(
        fc.integer({ min: instantOf("2011-12-01T00:00:00Z"), max: instantOf("2030-01-01T00:00:00Z") }),
        fc.oneof(
          fc.integer({ min: 1, max: days(3) }),
          fc.integer({ min: hours(1), max: days(400) }),
          fc.integer({ min: 1, max: days(3_653) }),
        ),
        fc.integer({ min: 2, max: 1_200 }),
        fc.constantFrom(...zones),
        (begin, span, points, zone) => {
          const [from, to] = [instant(begin), instant(begin + span)];
          const plan = planHistory({ from, to, points, zone });
          expect(plan.starts.length).toBeLessThanOrEqual(points);
          expect(plan.starts.length).toBeGreaterThan(0);
          expect(plan.from).toBeLessThanOrEqual(from);
          expect(plan.to).toBeGreaterThanOrEqual(to);
          expect(plan.starts[0]).toBe(plan.from);
          const next = (index: number) => plan.starts[index + 1] ?? plan.to;
          expect(plan.starts.filter((start, index) => start >= next(index))).toEqual([]);
          expect(plan.starts.filter((start) => spanOf[plan.level](start, zone).from !== start)).toEqual([]);
        },
      ),
      { numRuns: 100 },
    );
  });

  it("refuses an empty span and a single point", () => {
    expect(() => planOf("2026-11-02T00:00:00Z", "2026-11-02T00:00:00Z", 100)).toThrow("from < to");
    expect(() => planOf("2026-11-02T00:00:00Z", "2026-11-03T00:00:00Z", 1)).toThrow("at least 2 points");
    expect(() => planOf("2026-11-02T00:00:00Z", "2026-11-03T00:00:00Z", Number.NaN)).toThrow("at least 2 points");
  });
});
