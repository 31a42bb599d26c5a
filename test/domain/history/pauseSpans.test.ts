import { describe, expect, it } from "vitest";
import type { Effect } from "../../../server/domain/effects.ts";
import {
  initialPauseSpans,
  isPausedAt,
  pausedTime,
  updatePauseSpans,
} from "../../../server/domain/history/pauseSpans.ts";
import { after, instantOf, minutes } from "../../../server/domain/instant.ts";
import { initialOrders, type Order, type OrdersState } from "../../../server/domain/orders/order.ts";

const start = instantOf("2026-11-02T06:00:00Z");
const at = (minute: number) => after(start, minutes(minute));
const stated = (paused: boolean, minute: number): OrdersState => ({
  ...initialOrders(),
  lastStatement: { paused, at: at(minute) },
});
const confirmed = (kind: Order["kind"], minute: number, until: number | null = null): Effect => ({
  kind: "orderChanged",
  order: {
    id: `${kind}-1`,
    kind,
    until: until === null ? null : at(until),
    requestedAt: at(minute - 1),
    requestedBy: "Ada",
    status: "confirmed",
    sentAt: at(minute - 1),
    answeredAt: at(minute),
    problem: null,
  },
});

describe("the pauses of a feeder", () => {
  it("are known where it was paused at the feeder itself, from its statements", () => {
    const paused = updatePauseSpans(initialPauseSpans, stated(true, 10), [], at(10));
    expect(pausedTime(paused, at(0), at(15))).toBe(minutes(5));
    const feeding = updatePauseSpans(paused, stated(false, 20), [], at(20));
    expect(feeding).toEqual({ current: null, ended: [{ from: at(10), to: at(20) }] });
    expect([isPausedAt(feeding, at(9)), isPausedAt(feeding, at(10)), isPausedAt(feeding, at(20))]).toEqual([
      false,
      true,
      false,
    ]);
  });

  it("are known where one report holds a pause and its end", () => {
    const effects = [confirmed("pause", 10), confirmed("resume", 13)];
    const spans = updatePauseSpans(initialPauseSpans, stated(false, 13), effects, at(14));
    expect(spans).toEqual({ current: null, ended: [{ from: at(10), to: at(13) }] });
  });

  it("end by themselves at the time that was ordered", () => {
    const paused = updatePauseSpans(initialPauseSpans, stated(true, 10), [confirmed("pause", 10, 30)], at(10));
    expect(pausedTime(paused, at(0), at(60))).toBe(minutes(20));
    const feeding = updatePauseSpans(paused, stated(false, 45), [], at(45));
    expect(feeding.ended).toEqual([{ from: at(10), to: at(30) }]);
  });
});
