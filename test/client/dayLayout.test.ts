import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { layoutDay, namesWidth } from "../../client/charts/dayLayout.ts";
import { timeText } from "../../client/text/clock.ts";
import type { DayView } from "../../server/contract/api.ts";
import { dayViewFixture } from "./viewFixtures.ts";

const clock = (zone: string) => (at: string) => timeText(at, zone);
const stockholm = clock("Europe/Stockholm");
const november = dayViewFixture("rowan", "2026-11-25");
const bare: DayView = {
  ...november,
  from: "2026-11-24T16:00:00.000Z",
  to: "2026-11-25T16:00:00.000Z",
  light: [{ kind: "unknown", from: "2026-11-24T16:00:00.000Z", to: "2026-11-25T16:00:00.000Z" }],
  marks: [],
};
const mark = (kind: DayView["marks"][number]["kind"], at: string, detail = "") => ({ kind, at, detail });

describe("the chart of a day", () => {
  it("covers its whole width with light, without a gap", () => {
    const { spans } = layoutDay(november, 340, stockholm).scale;
    let reached: number = namesWidth;
    for (const { x, width } of spans) {
      expect(x).toBeCloseTo(reached, 6);
      reached = x + width;
    }
    expect(reached).toBeCloseTo(340, 6);
  });

  it("gives all of the night a twentieth of the width, and its true hours", () => {
    const { spans } = layoutDay(november, 340, stockholm).scale;
    const night = spans.filter(({ kind }) => kind === "night");
    expect(night.reduce((sum, { width }) => sum + width, 0)).toBeCloseTo(0.05 * (340 - namesWidth), 6);
    expect(night.map(({ from, to }) => (to - from) / 3_600_000)).toEqual(
      [14.7].map((hours) => expect.closeTo(hours, 6)),
    );
  });

  it("gives the night more while there was hardly any light, and all where there is none", () => {
    const twenty = Date.parse(november.from) + 20 * 60_000; // minutes of twilight
    const late = layoutDay(november, 340, stockholm, Date.parse(november.from) + 10 * 3_600_000).scale.spans;
    const wide = (kind: string) => late.filter((span) => span.kind === kind).reduce((sum, { width }) => sum + width, 0);
    expect(wide("night")).toBeGreaterThan(wide("twilight"));
    expect(layoutDay(november, 340, stockholm, twenty).scale.spans.map(({ kind }) => kind)).toEqual(["twilight"]);
    const dark = { ...bare, light: [{ ...bare.light[0], kind: "night" } as DayView["light"][number]] };
    expect(layoutDay(dark, 340, stockholm).scale.spans[0]?.width).toBeCloseTo(340 - namesWidth, 6);
  });

  it("ends at now, with nothing for the hours to come", () => {
    const ten = Date.parse("2026-11-25T09:00:00Z");
    const { scale, bins, hours } = layoutDay(november, 340, stockholm, ten);
    expect(scale.to).toBe(ten);
    expect(scale.x(ten)).toBeCloseTo(340, 6);
    expect(bins.at(-1)?.to).toBe(ten);
    expect(hours.every(({ label }) => label === "night" || label < "10:00")).toBe(true);
    expect(layoutDay(november, 340, stockholm, Date.parse(november.to) + 9_000_000).scale.to).toBe(
      Date.parse(november.to),
    );
  });

  it("has an even time scale where the light is not known", () => {
    const { x } = layoutDay(bare, 240, stockholm).scale;
    const share = (at: string) => (x(Date.parse(at)) - namesWidth) / (240 - namesWidth);
    expect(share("2026-11-25T04:00:00Z")).toBeCloseTo(1 / 2, 6);
    expect(share("2026-11-24T22:00:00Z")).toBeCloseTo(1 / 4, 6);
  });

  it("never places a later time before an earlier one", () => {
    const { x } = layoutDay(november, 340, stockholm).scale;
    const from = Date.parse(november.from);
    fc.assert(
      fc.property(
        fc.integer({ min: -3_600_000, max: 90_000_000 }),
        fc.integer({ min: 0, max: 9_000_000 }),
        (start, later) => {
          expect(x(from + start + later)).toBeGreaterThanOrEqual(x(from + start));
        },
      ),
    );
  });

  it("accepts spans that overlap or leave a gap", () => {
    const torn: DayView = {
      ...bare,
      light: [
        { kind: "night", from: "2026-11-24T17:00:00Z", to: "2026-11-25T06:00:00Z" },
        { kind: "day", from: "2026-11-25T05:00:00Z", to: "2026-11-25T12:00:00Z" },
      ],
    };
    const { x } = layoutDay(torn, 300, stockholm).scale;
    expect(x(Date.parse(torn.from))).toBe(namesWidth);
    expect(x(Date.parse(torn.to))).toBeCloseTo(300, 6);
  });

  it("counts what falls together by full stretches of the clock, those without a portion apart", () => {
    const day = {
      ...bare,
      marks: [
        mark("deposit", "2026-11-25T08:00:00Z", "paid"),
        { ...mark("deposit", "2026-11-25T08:02:00Z"), unpaid: true as const },
        mark("deposit", "2026-11-25T12:00:00Z", "paid"),
        mark("press", "2026-11-25T08:01:00Z"),
      ],
    };
    const { bins, kinds, most, stepMinutes } = layoutDay(day, 640, stockholm);
    expect({ kinds, most, stepMinutes }).toEqual({ kinds: ["press", "deposit"], most: 2, stepMinutes: 60 });
    const counted = bins.filter(({ counts }) => counts.press + counts.deposit > 0);
    expect(counted.map(({ from, counts, unpaid }) => [from, counts.press, counts.deposit, unpaid])).toEqual([
      [Date.parse("2026-11-25T08:00:00Z"), 1, 2, 1],
      [Date.parse("2026-11-25T12:00:00Z"), 0, 1, 0],
    ]);
  });

  it("has bins without a gap, each night as one, each by day wide enough for a count", () => {
    for (const width of [240, 340, 700]) {
      const { bins, scale } = layoutDay(november, width, stockholm);
      expect(bins[0]?.from).toBe(scale.from);
      expect(bins.at(-1)?.to).toBe(scale.to);
      bins.forEach((bin, index) => {
        if (index > 0) expect(bin.from).toBe(bins[index - 1]?.to);
      });
      const [night] = scale.spans.filter(({ kind }) => kind === "night");
      expect(bins.filter(({ from, to }) => from < (night?.to ?? 0) && to > (night?.from ?? 0))).toHaveLength(1);
      const byDay = bins.filter(({ from }) => from !== night?.from);
      expect(Math.min(...byDay.map((bin) => bin.width)), `${width}`).toBeGreaterThan(7.4);
    }
  });

  it("loses no mark, in whatever order they come, nor one that is later than its end", () => {
    const shuffled = { ...november, marks: [...november.marks].reverse() };
    for (const until of [undefined, Date.parse("2026-11-25T09:00:00Z")]) {
      const { bins, marks } = layoutDay(shuffled, 340, stockholm, until);
      const counted = bins.flatMap(({ counts }) => Object.values(counts)).reduce((sum, count) => sum + count, 0);
      expect(counted + marks.reduce((sum, { count }) => sum + count, 0)).toBe(november.marks.length);
    }
  });

  it("draws alarms that would overlap as one, and cuts none at its edges", () => {
    const day = { ...bare, marks: [mark("alarm", bare.from), mark("alarm", bare.from), mark("alarm", bare.to)] };
    const { marks } = layoutDay(day, 340, stockholm);
    expect(marks).toEqual([
      { kind: "alarm", x: namesWidth + 9, count: 2 },
      { kind: "alarm", x: 331, count: 1 },
    ]);
  });

  it("labels whole hours of the yard's own clock, in a zone off by a quarter too", () => {
    const { hours } = layoutDay(bare, 700, clock("Asia/Kathmandu"));
    expect(hours.length).toBeGreaterThan(4);
    for (const { label } of hours) expect(label).toMatch(/^\d\d:00$/);
  });

  it("never draws one label over another", () => {
    for (const width of [240, 340, 700]) {
      const { hours } = layoutDay(november, width, stockholm);
      hours.forEach((hour, index) => {
        const before = hours[index - 1];
        if (before !== undefined) expect(hour.x - before.x).toBeGreaterThanOrEqual(46);
      });
      expect(hours.length).toBeGreaterThan(1);
    }
  });

  it("refuses a day without length", () => {
    expect(() => layoutDay({ ...bare, to: bare.from }, 340, stockholm)).toThrow(RangeError);
  });
});
