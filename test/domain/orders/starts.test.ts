import { describe, expect, it } from "vitest";
import { after as afterwards, instantOf, seconds } from "../../../server/domain/instant.ts";
import { hearPaused, isFromEarlierStart, noteStart } from "../../../server/domain/orders/evidence.ts";
import { noOrders } from "../../../server/domain/orders/order.ts";
import { standingOf } from "../../../server/domain/orders/standing.ts";

const start = instantOf("2026-11-25T06:30:00Z");
const at = (second: number) => afterwards(start, seconds(second));
/** It reports from the start `boot`, up for so long. */
const reports = (orders: ReturnType<typeof noOrders>, boot: string, uptime: number, second: number) =>
  noteStart(orders, { boot, uptime: seconds(uptime), at: at(second), paused: null }, at(second)).orders;

describe("a report that was under way for long", () => {
  const orders = reports(reports(noOrders(), "b-1", 600, 600), "b-2", 5, 700);

  it("is known by a start that is over, from as far as that was heard", () => {
    expect(isFromEarlierStart(orders, "b-1", seconds(600))).toBe(true);
    expect(isFromEarlierStart(orders, "b-1", seconds(601))).toBe(true);
    expect(isFromEarlierStart(orders, "b-1", seconds(599))).toBe(false);
  });

  it("is none of the start that lives, nor of one that was never met", () => {
    expect(isFromEarlierStart(orders, "b-2", seconds(900))).toBe(false);
    expect(isFromEarlierStart(orders, "b-3", seconds(900))).toBe(false);
    expect(isFromEarlierStart(noOrders(), "b-1", seconds(600))).toBe(false);
  });
});

describe("how a feeder stands that has said nothing since it started anew", () => {
  it("isn't known, since the start where it had spoken before, and since ever where it never did", () => {
    const silent = reports(noOrders(), "b-1", 5, 5);
    expect(standingOf(silent, at(60))).toEqual({ kind: "unknown", startedAt: null });
    const spoke = hearPaused(silent, true, at(10), at(10)).orders;
    const anew = reports(spoke, "b-2", 5, 105);
    expect(standingOf(anew, at(160))).toEqual({ kind: "unknown", startedAt: at(100) });
  });
});
