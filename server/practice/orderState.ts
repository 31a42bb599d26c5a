import type { SentOrder } from "../contract/report.ts";
import { type Instant, instantOf, type Span } from "../domain/instant.ts";
import type { NewSpoolEvent } from "./model/spool.ts";

/**
 * What a feeder has done about its orders. The newest order counts, a repeat changes nothing, and the last order stays through a
 * power cut: this whole value is on its disk.
 */
export interface OrderState {
  readonly pausedBy: { readonly order: string; readonly until: Instant | null } | null; // null while it may feed
  /** Ids of handled orders, the newest last: a repeat, or an old order that comes late, is known by its id. */
  readonly handledOrders: readonly string[];
}

export const initialOrderState: OrderState = { pausedBy: null, handledOrders: [] };

const handledMax = 16;

/** @returns the new state, and the events that confirm it. Orders come oldest first; only the last new one counts. */
export function applyOrders(
  before: OrderState,
  orders: readonly SentOrder[],
  serverTime: Instant,
): { readonly orderState: OrderState; readonly events: readonly NewSpoolEvent[] } {
  const newOrders = orders.filter((order) => !before.handledOrders.includes(order.id));
  const newest = newOrders.at(-1);
  if (!newest) return { orderState: before, events: [] };

  const handledOrders = [...before.handledOrders, ...newOrders.map((order) => order.id)].slice(-handledMax);
  const until = newest.until === null ? null : instantOf(newest.until);
  switch (newest.kind) {
    case "bench":
      // An order that it doesn't know must not hide one about a pause.
      return {
        orderState: { ...before, handledOrders },
        events: [refusedEvent(newest.id, "A practice feeder has no bench run.")],
      };
    case "resume":
      return { orderState: { pausedBy: null, handledOrders }, events: [doneEvent(newest.id)] };
    case "pause":
      // The newest counts even so: an older pause must not outlast the one that replaced it.
      if (until !== null && until <= serverTime) {
        return {
          orderState: { pausedBy: null, handledOrders },
          events: [refusedEvent(newest.id, "The pause had ended before it arrived.")],
        };
      }
      return {
        orderState: { pausedBy: { order: newest.id, until }, handledOrders },
        events: [doneEvent(newest.id)],
      };
  }
}

/** A pause with an end is over at that end. Without knowing the time a feeder stays paused: that is the safe side. */
export const endExpiredPause = (orderState: OrderState, serverTime: Instant | null): OrderState =>
  orderState.pausedBy !== null &&
  orderState.pausedBy.until !== null &&
  serverTime !== null &&
  serverTime >= orderState.pausedBy.until
    ? { ...orderState, pausedBy: null }
    : orderState;

/** When, by the feeder's own clock, a pause ends by itself; null where it doesn't or the time isn't known. */
export const resumeAt = (orderState: OrderState, serverAhead: Span | null): Instant | null =>
  orderState.pausedBy?.until == null || serverAhead === null
    ? null
    : ((orderState.pausedBy.until - serverAhead) as Instant);

const doneEvent = (order: string): NewSpoolEvent => ({ kind: "order", order, outcome: "done", problem: null });
const refusedEvent = (order: string, problem: string): NewSpoolEvent => ({
  kind: "order",
  order,
  outcome: "refused",
  problem,
});
