import { describe, expect, it } from "vitest";
import { after as afterwards, instantOf, seconds } from "../../../server/domain/instant.ts";
import {
  isFromEarlierStart,
  updateOrdersByPaused,
  updateOrdersByStart,
} from "../../../server/domain/orders/evidence.ts";
import { initialOrders } from "../../../server/domain/orders/order.ts";
import { pauseStatus } from "../../../server/domain/orders/pauseStatus.ts";

const start = instantOf("2026-11-25T06:30:00Z");
const at = (second: number) => afterwards(start, seconds(second));
/** It reports from the start `boot`, up for so long. */
const reports = (orders: ReturnType<typeof initialOrders>, boot: string, uptime: number, second: number) =>
  updateOrdersByStart(orders, { boot, uptime: seconds(uptime), at: at(second), paused: null }, at(second)).orders;

describe("a report that was under way for long", () => {
  const orders = reports(reports(initialOrders(), "b-1", 600, 600), "b-2", 5, 700);

  it("is known by a start that is over, from as far as that was heard", () => {
    expect(isFromEarlierStart(orders, "b-1", seconds(600))).toBe(true);
    expect(isFromEarlierStart(orders, "b-1", seconds(601))).toBe(true);
    expect(isFromEarlierStart(orders, "b-1", seconds(599))).toBe(false);
  });

  it("is none of the start that lives, nor of one that was never met", () => {
    expect(isFromEarlierStart(orders, "b-2", seconds(900))).toBe(false);
    expect(isFromEarlierStart(orders, "b-3", seconds(900))).toBe(false);
    expect(isFromEarlierStart(initialOrders(), "b-1", seconds(600))).toBe(false);
  });
});

describe("how a feeder stands that has said nothing since it started anew", () => {
  it("isn't known, since the start where it had spoken before, and since ever where it never did", () => {
    const silent = reports(initialOrders(), "b-1", 5, 5);
    expect(pauseStatus(silent, at(60))).toEqual({ kind: "unknown", startedAt: null });
    const spoke = updateOrdersByPaused(silent, true, at(10), at(10)).orders;
    const anew = reports(spoke, "b-2", 5, 105);
    expect(pauseStatus(anew, at(160))).toEqual({ kind: "unknown", startedAt: at(100) });
  });
});
