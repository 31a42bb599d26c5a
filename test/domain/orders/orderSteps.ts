import { after, type Instant, instantOf, seconds } from "../../../server/domain/instant.ts";
import {
  type OrdersStep,
  updateOrdersByPaused,
  updateOrdersByPortion,
  updateOrdersByStart,
} from "../../../server/domain/orders/evidence.ts";
import { initialOrders, type Order, type OrderKind, type OrdersState } from "../../../server/domain/orders/order.ts";
import {
  answerOrder,
  markOrdersOverdue,
  markOrdersSent,
  requestOrder,
} from "../../../server/domain/orders/orderTransitions.ts";
import type { PortionCause } from "../../../server/domain/report.ts";
import { barePortion } from "../portionFixture.ts";
import { rowanSettings } from "../rowan.ts";

/** What can happen to a feeder's orders, each at a second after the start, and the state that a row of it leads to. */

export const settings = { ...rowanSettings, reportEvery: seconds(60) };
const start = instantOf("2026-12-01T06:00:00Z");
export const at = (second: number): Instant => after(start, seconds(second));
export const order = (id: string, kind: OrderKind = "pause", second = 0, until: number | null = null): Order => ({
  ...{ id, kind, until: until === null ? null : at(until), requestedAt: at(second), requestedBy: "Ada" },
  ...{ status: "requested", sentAt: null, answeredAt: null, problem: null },
});

export type Step = (orders: OrdersState) => OrdersStep;
export const run = (...steps: readonly Step[]): OrdersState =>
  steps.reduce((orders, step) => step(orders).orders, initialOrders());
export const requests =
  (of: Order): Step =>
  (o) =>
    requestOrder(o, of);
export const pause = requests(order("p1"));
export const resume = requests(order("r1", "resume"));
export const sent =
  (second: number): Step =>
  (o) =>
    markOrdersSent(o, at(second));
export const overdue =
  (second: number): Step =>
  (o) =>
    markOrdersOverdue(o, settings, at(second));
export const done =
  (id: string, second: number, from: "this" | "over" | "earlier" = "this"): Step =>
  (o) =>
    answerOrder(o, { order: id, outcome: "done", problem: null }, at(second), at(second), from);
export const refused =
  (id: string, second: number, problem: string | null = null): Step =>
  (o) =>
    answerOrder(o, { order: id, outcome: "refused", problem }, at(second));
export const starts =
  (boot: string, second: number, paused: boolean | null = null, uptime = 0): Step =>
  (o) =>
    updateOrdersByStart(o, { boot, uptime: seconds(uptime), at: at(second), paused }, at(second));
export const states =
  (paused: boolean, second: number): Step =>
  (o) =>
    updateOrdersByPaused(o, paused, at(second));
export const gives =
  (second: number, cause: PortionCause = "press", motorRan: number | null = 2): Step =>
  (o) =>
    updateOrdersByPortion(
      o,
      {
        ...barePortion,
        cause,
        motorRan: motorRan === null ? null : seconds(motorRan),
        recordedAt: at(second),
      } as never,
      at(second),
    );
