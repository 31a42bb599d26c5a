import type { SentOrder } from "../contract/report.ts";
import { type Instant, instantOf, type Span } from "../domain/instant.ts";
import type { RecordedEvent } from "./model/spool.ts";

/**
 * How a feeder obeys. The newest order wins, a repeat changes nothing, and what it was last told holds through a power cut:
 * this whole value lies on its disk.
 */
export interface OrderState {
  readonly pausedBy: { readonly order: string; readonly until: Instant | null } | null; // null while it may feed
  /** Orders that were dealt with, the newest last: a repeat, or an old one that comes late, is known by its id. */
  readonly handledOrders: readonly string[];
}

export const initialOrderState: OrderState = { pausedBy: null, handledOrders: [] };

const handledMax = 16;

/** @returns the new state, and what to write down as proof. Orders stand oldest first; only the last new one counts. */
export function applyOrders(
  before: OrderState,
  orders: readonly SentOrder[],
  serverTime: Instant,
): { readonly obedience: OrderState; readonly said: readonly RecordedEvent[] } {
  const fresh = orders.filter((order) => !before.handledOrders.includes(order.id));
  const newest = fresh.at(-1);
  if (!newest) return { obedience: before, said: [] };

  const known = [...before.handledOrders, ...fresh.map((order) => order.id)].slice(-handledMax);
  const until = newest.until === null ? null : instantOf(newest.until);
  switch (newest.kind) {
    case "resume":
      return { obedience: { pausedBy: null, handledOrders: known }, said: [doneEvent(newest.id)] };
    case "pause":
      // The newest wins even so: an older pause must not outlive the one that replaced it.
      if (until !== null && until <= serverTime) {
        return {
          obedience: { pausedBy: null, handledOrders: known },
          said: [refusedEvent(newest.id, "The pause had ended before it arrived.")],
        };
      }
      return {
        obedience: { pausedBy: { order: newest.id, until }, handledOrders: known },
        said: [doneEvent(newest.id)],
      };
  }
}

/** A pause with an end is over at that end. Without knowing the time a feeder stays paused: that is the safe side. */
export const endExpiredPause = (obedience: OrderState, serverTime: Instant | null): OrderState =>
  obedience.pausedBy !== null &&
  obedience.pausedBy.until !== null &&
  serverTime !== null &&
  serverTime >= obedience.pausedBy.until
    ? { ...obedience, pausedBy: null }
    : obedience;

/** When, by the feeder's own reckoning, a pause ends by itself; null where it doesn't or can't be known. */
export const resumeAt = (obedience: OrderState, serverAhead: Span | null): Instant | null =>
  obedience.pausedBy?.until == null || serverAhead === null
    ? null
    : ((obedience.pausedBy.until - serverAhead) as Instant);

const doneEvent = (order: string): RecordedEvent => ({ kind: "order", order, outcome: "done", problem: null });
const refusedEvent = (order: string, problem: string): RecordedEvent => ({
  kind: "order",
  order,
  outcome: "refused",
  problem,
});
