import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { layoutDay, strokeLength } from "../../client/charts/dayLayout.ts";
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
    const { spans } = layoutDay(november, 340, stockholm);
    let reached = 0;
    for (const { x, width } of spans) {
      expect(x).toBeCloseTo(reached, 6);
      reached = x + width;
    }
    expect(reached).toBeCloseTo(340, 6);
  });

  it("gives the short winter day more room than the long night", () => {
    const { spans } = layoutDay(november, 340, stockholm);
    const wide = (kind: string) =>
      spans.filter((span) => span.kind === kind).reduce((sum, span) => sum + span.width, 0);
    expect(wide("day")).toBeGreaterThan(wide("night"));
  });

  it("has an even time scale where the light is not known", () => {
    const { xOf } = layoutDay(bare, 240, stockholm);
    expect(xOf("2026-11-25T04:00:00Z")).toBeCloseTo(120, 6);
    expect(xOf("2026-11-24T22:00:00Z")).toBeCloseTo(60, 6);
  });

  it("never places a later time before an earlier one", () => {
    const { xOf } = layoutDay(november, 340, stockholm);
    const from = Date.parse(november.from);
    fc.assert(
      fc.property(
        fc.integer({ min: -3_600_000, max: 90_000_000 }),
        fc.integer({ min: 0, max: 9_000_000 }),
        (start, later) => {
          const earlier = xOf(new Date(from + start).toISOString());
          expect(xOf(new Date(from + start + later).toISOString())).toBeGreaterThanOrEqual(earlier);
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
    const { xOf } = layoutDay(torn, 300, stockholm);
    expect(xOf(torn.from)).toBe(0);
    expect(xOf(torn.to)).toBeCloseTo(300, 6);
  });

  it("draws marks that would overlap as one, and counts them", () => {
    const day = {
      ...bare,
      marks: [
        mark("deposit", "2026-11-25T08:00:00Z", "paid"),
        { ...mark("deposit", "2026-11-25T08:02:00Z"), unpaid: true as const },
        mark("deposit", "2026-11-25T12:00:00Z", "paid"),
        mark("press", "2026-11-25T08:01:00Z"),
      ],
    };
    const { marks } = layoutDay(day, 340, stockholm);
    expect(marks.map(({ kind, count, unpaidCount }) => ({ kind, count, unpaid: unpaidCount }))).toEqual([
      { kind: "deposit", count: 2, unpaid: true as const },
      { kind: "press", count: 1, unpaid: false },
      { kind: "deposit", count: 1, unpaid: false },
    ]);
  });

  it("loses no mark, in whatever order they come", () => {
    const shuffled = { ...november, marks: [...november.marks].reverse() };
    const total = layoutDay(shuffled, 340, stockholm).marks.reduce((sum, each) => sum + each.count, 0);
    expect(total).toBe(november.marks.length);
  });

  it("cuts no mark at its edges", () => {
    const day = { ...bare, marks: [mark("alarm", bare.from), mark("alarm", bare.to)] };
    const { marks } = layoutDay(day, 340, stockholm);
    expect(marks[0]?.x).toBe(9);
    expect(marks[1]?.x).toBe(331);
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
        if (before !== undefined) expect(hour.x - before.x).toBeGreaterThanOrEqual(52);
      });
      expect(hours.length).toBeGreaterThan(1);
    }
  });

  it("refuses a day without length", () => {
    expect(() => layoutDay({ ...bare, to: bare.from }, 340, stockholm)).toThrow(RangeError);
  });
});

describe("a count line", () => {
  it("grows with its count and stays in its lane", () => {
    const lengths = [1, 2, 5, 50, 5_000].map((count) => strokeLength(count, 22));
    expect(lengths).toEqual([...lengths].sort((one, other) => one - other));
    expect(lengths[0]).toBe(6);
    expect(lengths[4]).toBeLessThanOrEqual(22);
  });
});
