import { describe, expect, it } from "vitest";
import { after as afterwards, instantOf, seconds } from "../../../server/domain/instant.ts";
import {
  isFromEarlierStart,
  updateOrdersByPaused,
  updateOrdersByStart,
} from "../../../server/domain/orders/evidence.ts";
import { initialOrders } from "../../../server/domain/orders/order.ts";
import { pauseStatus } from "../../../server/domain/orders/pauseStatus.ts";
import { done, at as moment, pause, run, starts, states } from "./orderSteps.ts";

const start = instantOf("2026-11-25T06:30:00Z");
const at = (second: number) => afterwards(start, seconds(second));
/** It reports from the start `boot`, up for so long. */
const reports = (orders: ReturnType<typeof initialOrders>, boot: string, uptime: number, second: number) =>
  updateOrdersByStart(orders, { boot, uptime: seconds(uptime), at: at(second), paused: null }, at(second)).orders;

describe("a delayed report", () => {
  const orders = reports(reports(initialOrders(), "b-1", 600, 600), "b-2", 5, 700);

  it("is recognised by an earlier start, from its last known uptime on", () => {
    expect(isFromEarlierStart(orders, "b-1", seconds(600))).toBe(true);
    expect(isFromEarlierStart(orders, "b-1", seconds(601))).toBe(true);
    expect(isFromEarlierStart(orders, "b-1", seconds(599))).toBe(false);
  });

  it("is not of the present start, nor of an unknown one", () => {
    expect(isFromEarlierStart(orders, "b-2", seconds(900))).toBe(false);
    expect(isFromEarlierStart(orders, "b-3", seconds(900))).toBe(false);
    expect(isFromEarlierStart(initialOrders(), "b-1", seconds(600))).toBe(false);
  });
});

describe("the state of a feeder without a statement since its restart", () => {
  it("isn't known, since the start where it had spoken before, and since ever where it never did", () => {
    const silent = reports(initialOrders(), "b-1", 5, 5);
    expect(pauseStatus(silent, at(60))).toEqual({ kind: "unknown", startedAt: null });
    const spoke = updateOrdersByPaused(silent, true, at(10), at(10)).orders;
    const anew = reports(spoke, "b-2", 5, 105);
    expect(pauseStatus(anew, at(160))).toEqual({ kind: "unknown", startedAt: at(100) });
  });
  it("isn't known from what it stated at the very moment it began to restart", () => {
    const paused = run(starts("b-1", -60), pause, done("p1", 9), states(true, 100), starts("b-2", 100, null));
    expect(pauseStatus(paused, moment(160))).toEqual({ kind: "unknown", startedAt: moment(100) });
  });
});
