import type { Instant } from "../instant.ts";

/** What a keeper may tell a feeder to do. */
export type OrderKind = "pause" | "resume";

/**
 * An order on its way: `asked` by the keeper, `sent` to the feeder, and in the end `confirmed` or `refused` by the feeder's
 * own word. `overdue` is one that should have been answered by now; it is still carried to the feeder, and can still be
 * confirmed. `superseded` is one that a newer order replaced before the feeder answered.
 */
export type OrderPhase = "asked" | "sent" | "overdue" | "confirmed" | "refused" | "superseded";

export interface Order {
  readonly id: string; // chosen by whoever asks, so that asking twice is asking once
  readonly kind: OrderKind;
  readonly until: Instant | null; // a pause that ends by itself; null: until resumed
  readonly askedAt: Instant;
  readonly askedBy: string;
  readonly phase: OrderPhase;
  readonly sentAt: Instant | null;
  readonly answeredAt: Instant | null;
  readonly problem: string | null; // the feeder's reason where it refused
}

export interface OrdersState {
  /** The newest order: the newest wins, so older ones no longer matter to the feeder. Null before the first. */
  readonly newest: Order | null;
  /** Ids of orders before the newest, a few: an old one that is asked again (a phone's retry) must not come back to life. */
  readonly earlier: readonly string[];
  /** What the feeder itself last said about being paused, and when; null while it never said. */
  readonly feederSays: { readonly paused: boolean; readonly at: Instant } | null;
}

export const noOrders = (): OrdersState => ({ newest: null, earlier: [], feederSays: null });
