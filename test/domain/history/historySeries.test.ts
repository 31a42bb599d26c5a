import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { planHistory } from "../../../server/domain/history/historyPlan.ts";
import { type HistoryColumn, historyColumns, historySeries } from "../../../server/domain/history/historySeries.ts";
import { emptyRollup, mergeRollups, type Rollup } from "../../../server/domain/history/rollup.ts";
import { quarterLength } from "../../../server/domain/history/rollupSpans.ts";
import { encodeRollup } from "../../../server/domain/history/rollupText.ts";
import { after, days, hours, type Instant, instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import { rollup } from "./rollupFixture.ts";
import { mergeQuarters, rollupsOfLevel, simulateYear, yearEnd, yearStart, yearZone } from "./simulatedYear.ts";

const start = instantOf("2026-11-02T00:00:00Z");
const dayPlan = planHistory({ from: start, to: after(start, days(1)), points: 24, zone: "UTC" });
const counted = (counts: Partial<Rollup["counts"]>, more: Partial<Rollup> = {}): Rollup => ({
  ...emptyRollup,
  ...more,
  counts: { ...emptyRollup.counts, reports: 15, reportedTime: quarterLength, ...counts },
});
const seriesOf = (rows: readonly (readonly [hour: number, Rollup])[], now = after(start, days(2))) =>
  historySeries(
    dayPlan,
    rows.map(([hour, rollup]) => ({ from: after(start, hours(hour)), rollup })),
    now,
  );

describe("the history of a feeder", () => {
  it("has the sums of each bucket, in units", () => {
    const level = { at: start, last: 10_004, low: 9_000, high: 11_000, least: 9_996, most: 10_500 };
    const air = { count: 15, sum: -1_050, least: -83, most: -52 };
    const { columns, lengthMinutes } = seriesOf([
      [7, counted({ visits: 3 }, { level, measures: { ...emptyRollup.measures, air }, decigramsGiven: 164 })],
      [7, counted({ visits: 4 })],
    ]);
    expect(lengthMinutes).toEqual(Array(24).fill(60));
    const at = (name: HistoryColumn) => columns[name]?.[7];
    expect([at("visits"), at("gramsGiven"), at("hopperGrams"), at("hopperGramsLow"), at("hopperGramsMost")]).toEqual([
      7, 16, 1_000, 900, 1_050,
    ]);
    expect([at("airCelsiusLeast"), at("airCelsiusMean"), at("airCelsiusMost")]).toEqual([-8.3, -7, -5.2]);
    expect(at("reportedShare")).toBe(0.5);
    expect(columns.batteryVoltsMean).toBeUndefined(); // no such sensor
  });

  it("shows a gap as null and never as zero", () => {
    const silent: Rollup = { ...emptyRollup, standingAlarms: ["feederSilent"] };
    const { columns, standingAlarms } = seriesOf([
      [6, counted({})],
      [7, silent],
      [8, silent],
      [10, counted({ reports: 0, reportedTime: 0, visits: 2 })], // from a backlog
    ]);
    expect(columns.visits?.slice(5, 12)).toEqual([null, 0, null, null, null, 2, null]);
    expect(columns.reportedShare?.slice(5, 12)).toEqual([null, 0.25, 0, 0, null, 0, null]);
    expect(columns.hopperGrams).toBeUndefined();
    expect(standingAlarms).toEqual({ feederSilent: [[7, 8]] });
  });

  it("knows no grams where a portion's mass was assumed", () => {
    const { columns } = seriesOf([
      [6, counted({ timerPortions: 2 }, { decigramsGiven: null })],
      [7, counted({ timerPortions: 2 }, { decigramsGiven: 40 })],
    ]);
    expect(columns.gramsGiven?.slice(6, 8)).toEqual([null, 4]);
  });

  it("takes no gap for what is still to come", () => {
    const { columns } = seriesOf([[7, counted({ reportedTime: minutes(15) })]], after(start, hours(7.25)));
    expect(columns.reportedShare?.[7]).toBe(1);
  });

  it("has only the columns that are wanted", () => {
    const rows = [{ from: start, rollup: counted({ visits: 3 }) }];
    const { columns } = historySeries(dayPlan, rows, after(start, days(1)), ["visits"]);
    expect(Object.keys(columns)).toEqual(["visits"]);
  });

  it("keeps sums, least and most of all that lies in the span, in any order of the roll-ups", () => {
    const rows = fc.array(fc.record({ quarter: fc.integer({ min: -50, max: 450 }), rollup }), { maxLength: 60 });
    fc.assert(
      fc.property(
        rows,
        fc.integer({ min: 2, max: 200 }),
        fc.integer({ min: 1, max: 400 }),
        (rows, points, quarters) => {
          const to = after(start, (quarters * quarterLength) as never);
          const plan = planHistory({ from: start, to, points, zone: "Asia/Kathmandu" });
          const all = rows.map(({ quarter, rollup }) => ({ from: instant(start + quarter * quarterLength), rollup }));
          const series = historySeries(plan, all, to);
          expect(historySeries(plan, all.toReversed(), to)).toEqual(series);
          const inside = all.filter(({ from }) => from >= plan.from && from < plan.to);
          const whole = inside.reduce((sum, { rollup }) => mergeRollups(sum, rollup), emptyRollup);
          const known = (name: HistoryColumn) => (series.columns[name] ?? []).flatMap((value) => value ?? []);
          const { air, charge } = whole.measures;
          expect(known("alarmsRaised").reduce((sum, count) => sum + count, 0)).toBe(whole.counts.alarmsRaised);
          expect(known("airCelsiusLeast").reduce((a, b) => Math.min(a, b), 9e9)).toBe(
            air === null ? 9e9 : air.least / 10,
          );
          expect(known("chargeMilliampsMost").reduce((a, b) => Math.max(a, b), -9e9)).toBe(charge?.most ?? -9e9);
          for (const column of Object.values(series.columns)) expect(column).toHaveLength(plan.starts.length);
        },
      ),
      { numRuns: 100 },
    );
  });
});

describe("a year of history", () => {
  const quarters = simulateYear(1);
  const levels = rollupsOfLevel(quarters);
  const plan = planHistory({ from: yearStart, to: yearEnd, points: 1_000, zone: yearZone });
  const series = historySeries(plan, levels[plan.level], yearEnd);

  it("takes at most 100 kB as JSON with all columns", () => {
    expect(plan.starts.length).toBeGreaterThan(700);
    expect(Object.keys(series.columns)).toEqual([...historyColumns]);
    expect(Buffer.byteLength(JSON.stringify(series))).toBeLessThanOrEqual(100_000);
  });

  it("is stored in 4 MB: quarters, hours and days", () => {
    const bytesOf = (rollups: typeof quarters) => {
      const sample = rollups.filter((_, index) => index % 20 === 0);
      const bytes = sample.reduce((sum, { rollup }) => sum + encodeRollup(rollup).length, 0);
      return (bytes / sample.length) * rollups.length;
    };
    expect(quarters.length).toBeGreaterThan(34_000);
    expect(bytesOf(levels.quarter) + bytesOf(levels.hour) + bytesOf(levels.day)).toBeLessThan(4_000_000);
  });

  it("is the same from quarters, from hours and from days", () => {
    const whole = mergeQuarters(quarters, () => ({ from: yearStart, to: yearEnd }));
    expect(mergeQuarters(levels.hour, () => ({ from: yearStart, to: yearEnd }))).toEqual(whole);
    expect(mergeQuarters(levels.day, () => ({ from: yearStart, to: yearEnd }))).toEqual(whole);
    expect(historySeries(plan, quarters, yearEnd)).toEqual(series);
  });

  it("shows a line that was down for some hours only as a smaller share of reports, and a short peak whole", () => {
    const at: Instant = after(yearStart, days(100.3));
    const peak = counted(
      {},
      { measures: { ...emptyRollup.measures, battery: { count: 1, sum: 1_612, least: 1_612, most: 1_612 } } },
    );
    const { columns } = historySeries(plan, [...levels.hour, { from: at, rollup: peak }], yearEnd);
    expect(Math.max(...(columns.batteryVoltsMost ?? []).map((volts) => volts ?? 0))).toBe(16.12);
    expect(columns.reportedShare?.filter((share) => share === 0.5)).toHaveLength(12);
    expect(columns.visits).not.toContain(null);
  });
});
