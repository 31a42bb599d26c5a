import { describe, expect, it } from "vitest";
import type { AlarmChange } from "../../../server/domain/alarms/alarmStates.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { after, hours, type Instant, instantOf, isoOf } from "../../../server/domain/instant.ts";
import type { Order } from "../../../server/domain/orders/order.ts";
import {
  digestDays,
  isDayComplete,
  pastHours,
  pausedSpans,
  silentSpans,
} from "../../../server/flows/pure/digestSpans.ts";

const start = instantOf("2026-11-24T00:00:00Z");
const at = (hour: number): Instant => after(start, hours(hour));
const day = { from: at(0), to: at(24) };
const hoursOf = (spans: readonly { readonly from: Instant; readonly to: Instant }[]) =>
  spans.map(({ from, to }) => [(from - start) / 3_600_000, (to - start) / 3_600_000]);

describe("the days of a digest", () => {
  it("are the eight before its date, newest first, by the yard's own midnights", () => {
    const days = digestDays("2026-10-26", "Europe/Stockholm");
    expect(days).toHaveLength(8);
    expect(days.slice(0, 2).map(({ from, to }) => [isoOf(from), isoOf(to)])).toEqual([
      ["2026-10-24T22:00:00.000Z", "2026-10-25T23:00:00.000Z"], // clocks go back: 25 hours
      ["2026-10-23T22:00:00.000Z", "2026-10-24T22:00:00.000Z"],
    ]);
  });

  it("end with the last 25 hours, hour by hour, oldest first", () => {
    const spans = pastHours(at(25));
    expect(hoursOf([spans[0], spans[24]].flatMap((span) => span ?? []))).toEqual([
      [0, 1],
      [24, 25],
    ]);
    expect(spans).toHaveLength(25);
  });

  it("can be compared where at most an hour of them is missing, by one cause or by several", () => {
    const complete = (missing: readonly (readonly [number, number])[], added = -99) =>
      isDayComplete(
        day,
        missing.map(([from, to]) => ({ from: at(from), to: at(to) })),
        at(added),
      );
    expect([complete([]), complete([[3, 4]]), complete([[3, 4.01]])]).toEqual([true, true, false]);
    expect(
      complete([
        [3, 3.6],
        [9, 9.6],
      ]),
    ).toBe(false);
    expect([complete([[-5, 1]]), complete([[23, 30]]), complete([[-5, -1]])]).toEqual([true, true, true]);
    expect([complete([], 1), complete([], 1.01)]).toEqual([true, false]);
    expect(isDayComplete({ from: at(24), to: at(24) }, [], at(-9))).toBe(false); // a date that the zone leaves out
  });
});

describe("when a feeder had no reports", () => {
  const change = (hour: number, present: boolean, fault: AlarmChange["fault"] = "feederSilent"): AlarmChange => ({
    ...{ fault, priority: "urgent", from: "normal", to: "unacknowledged", at: at(hour), reason: "", present },
  });
  const state = (since: number | null, present = true) =>
    ({ alarms: since === null ? {} : { feederSilent: { since: at(since), present } } }) as unknown as FeederState;
  const spans = (changes: readonly AlarmChange[], of = state(null)) => hoursOf(silentSpans(changes, of, day));

  it("is from each start of the fault to its end", () => {
    expect(spans([change(3, true), change(5, false), change(9, true), change(10, false)])).toEqual([
      [3, 5],
      [9, 10],
    ]);
    expect(spans([change(3, true), change(4, true), change(5, false)])).toEqual([[3, 5]]);
    expect(spans([change(3, true, "foodOut"), change(5, false, "foodOut")])).toEqual([]);
  });

  it("began before the day where its first change is an end, and lasts to the day's end where none came", () => {
    expect(spans([change(5, false)])).toEqual([[0, 5]]);
    expect(spans([change(20, true)])).toEqual([[20, 24]]);
  });

  it("is known by the alarm itself where no change shows it", () => {
    expect(spans([], state(-5))).toEqual([[-5, 24]]);
    expect(spans([], state(-5, false))).toEqual([]);
    expect(spans([], state(24))).toEqual([]);
    expect(spans([change(3, true)], state(4))).toEqual([[3, 24]]);
  });
});

describe("when a feeder was paused", () => {
  const order = (kind: Order["kind"], answered: number | null, different: Partial<Order> = {}): Order => ({
    ...{ id: `${answered}`, kind, until: null, requestedAt: at(answered ?? 0), requestedBy: "Ada" },
    ...{ status: "confirmed", sentAt: null, answeredAt: answered === null ? null : at(answered), problem: null },
    ...different,
  });
  const spans = (...orders: readonly Order[]) => hoursOf(pausedSpans(orders, at(24)));

  it("is from a confirmed pause to the next confirmed order, its own end, or the end of the time asked for", () => {
    expect(spans(order("pause", 3), order("resume", 5))).toEqual([[3, 5]]);
    expect(spans(order("resume", 5), order("pause", 3))).toEqual([[3, 5]]);
    expect(spans(order("pause", 3, { until: at(4) }), order("resume", 5))).toEqual([[3, 4]]);
    expect(spans(order("pause", 3))).toEqual([[3, 24]]);
    expect(spans(order("pause", 3), order("pause", 5, { until: at(6) }))).toEqual([
      [3, 5],
      [5, 6],
    ]);
  });

  it("isn't known of an order that the feeder didn't confirm", () => {
    expect(spans(order("pause", 3, { status: "sent" }), order("pause", null))).toEqual([]);
    expect(spans(order("pause", 3), order("resume", 5, { status: "refused" }))).toEqual([[3, 24]]);
  });

  it("has no length where it was over at once", () => {
    expect(spans(order("pause", 3, { until: at(3) }))).toEqual([]);
  });
});
