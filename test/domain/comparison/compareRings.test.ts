import { describe, expect, it } from "vitest";
import { compareRings } from "../../../server/domain/comparison/compareRings.ts";
import type { InForce, Ring } from "../../../server/domain/comparison/ringRecord.ts";
import { after, hours, type Instant, instantOf } from "../../../server/domain/instant.ts";

const start = instantOf("2026-01-15T00:00:00Z");
const hour = (count: number): Instant => after(start, hours(count));
const span = { from: start, to: hour(240) };

/** An alarm that rings at this hour and lasts so long. */
const ring = (at: number, lasts: number | null, more: Partial<Ring> = {}): Ring => ({
  ...{ feeder: "rowan", fault: "foodLow", priority: "soon", at: hour(at) },
  endedAt: lasts === null ? null : hour(at + lasts),
  ...more,
});
const record = (rings: readonly Ring[], inForce: readonly InForce[] = []) => ({ rings, inForce });
const compare = (a: readonly Ring[], b: readonly Ring[]) => compareRings([record(a), record(b)], span);

describe("what rang in two replays", () => {
  it("is counted by fault and priority, with the first and the last, the most urgent fault first", () => {
    const jam = { fault: "trayJammed", priority: "urgent" } as const;
    const { faults, totals } = compare(
      [ring(1, 2), ring(50, 2), ring(60, 1, jam), ring(61, 1, { fault: "frostInside", priority: "note" })],
      [ring(1, 2)],
    );
    expect(faults.map(({ fault, highest }) => [fault, highest])).toEqual([
      ["trayJammed", "urgent"],
      ["foodLow", "soon"],
      ["frostInside", "note"],
    ]);
    expect(faults[1]?.sides[0]).toMatchObject({
      counts: { urgent: 0, soon: 2, note: 0 },
      firstAt: hour(1),
      lastAt: hour(50),
    });
    expect(totals).toEqual([
      { urgent: 1, soon: 2, note: 1 },
      { urgent: 0, soon: 1, note: 0 },
    ]);
  });

  it("is the same alarm where it rings earlier and still lasts", () => {
    expect(compare([ring(10, 30)], [ring(30, 10)]).only).toEqual([[], []]);
  });

  it("is the same alarm within an hour after its end, and another one later", () => {
    expect(compare([ring(10, 1)], [ring(11.9, 1)]).only).toEqual([[], []]);
    const [first, second] = [ring(10, 1), ring(12.1, 1)];
    expect(compare([first], [second]).only).toEqual([[first], [second]]);
  });

  it("matches each ring once: of five in place of one that lasts, four are more", () => {
    const five = [10, 20, 30, 40, 50].map((at) => ring(at, 2));
    expect(compare([ring(10, 60)], five).only).toEqual([[], five.slice(1)]);
  });

  it("tells other faults, other feeders and notes in place of pushes apart", () => {
    for (const other of [
      ring(10, 1, { fault: "iceLock" }),
      ring(10, 1, { feeder: "larch" }),
      ring(10, 1, { priority: "note" }),
    ]) {
      expect(compare([ring(10, 1)], [other]).only, JSON.stringify(other)).toEqual([[ring(10, 1)], [other]]);
    }
    expect(compare([ring(10, 1)], [ring(10, 1, { priority: "urgent" })]).only).toEqual([[], []]); // it rings all the same
  });

  it("leaves out what lies outside the span, and cuts off the time in force", () => {
    const common = { feeder: "rowan", fault: "foodLow" };
    const inForce = [
      { ...common, from: hour(-5), to: hour(3) },
      { ...common, from: hour(100), to: hour(102) },
      { ...common, from: hour(236), to: null },
      { ...common, from: hour(250), to: hour(260) },
    ];
    const { faults, totals } = compareRings([record([ring(-5, 8), ring(240, 1)], inForce), record([])], span);
    expect(totals[0]).toEqual({ urgent: 0, soon: 0, note: 0 });
    expect(faults).toHaveLength(1);
    expect(faults[0]?.sides.map(({ hoursInForce }) => hoursInForce)).toEqual([9, 0]);
  });
});
