import type { Instant, Span } from "../instant.ts";
import type { PortionCause } from "../report.ts";

/** What a keeper may order a feeder to do. */
export type OrderKind = "pause" | "resume";

/**
 * An order: `requested` by the keeper, `sent` to the feeder, and in the end `confirmed` or `refused` by the feeder. `overdue` is one
 * that should have been answered by now; it is still sent to the feeder, and can still be confirmed. `superseded` is one that a
 * newer order replaced before the feeder answered. A confirmation that no longer holds is reverted: the order is `requested`
 * again, and `revertedPause` has the reason.
 */
export type OrderStatus = "requested" | "sent" | "overdue" | "confirmed" | "refused" | "superseded";

export interface Order {
  readonly id: string; // chosen by the client, so that a repeated request has no second effect
  readonly kind: OrderKind;
  readonly until: Instant | null; // a pause that ends by itself; null: until resumed
  readonly requestedAt: Instant;
  readonly requestedBy: string;
  readonly status: OrderStatus;
  readonly sentAt: Instant | null;
  readonly answeredAt: Instant | null;
  readonly problem: string | null; // the feeder's reason where it refused
}

export interface OrdersState {
  /** The newest order: the newest wins, so older ones no longer matter to the feeder. Null before the first. */
  readonly newest: Order | null;
  /** Ids of a few orders before those in `replaced`: one that is requested again (a phone's retry) must have no effect. */
  readonly earlier: readonly string[];
  /** The last orders that a newer one replaced: their answers still show the feeder's state. Left out before the first. */
  readonly replaced?: readonly ReplacedOrder[];
  /** The start of the feeder by which the newest order's answer was dated (redating.ts). */
  readonly answerDatedBy?: Instant;
  /** The feeder's last own statement whether it is paused; null before the first. */
  readonly lastStatement: PauseStatement | null;
  /** The last food that it gave; left out before the first portion. */
  readonly lastFood?: GivenFood;
  /** The start of the feeder from which it last reported; left out before its first report. */
  readonly lastStart?: FeederStart;
  /** Why the newest order, a confirmed pause, is not certain any more; left out while it is. */
  readonly revertedPause?: RevertedPause;
}

export type ReplacedOrder = Pick<Order, "id" | "kind" | "until">;

/** A moment reported by a feeder. */
export interface DatedMoment {
  readonly at: Instant;
  /** The start of the feeder by which it was dated; left out where that is not the present start. */
  readonly datedBy?: Instant;
}

export interface PauseStatement extends DatedMoment {
  readonly paused: boolean;
  /** When its pause ends by itself, whatever was requested since; left out where it doesn't. */
  readonly until?: Instant;
}

/** `at`: when the feeder recorded it. */
export interface GivenFood extends DatedMoment {
  readonly motorStartedAt: Instant; // at the latest
  readonly cause: PortionCause;
}

export interface FeederStart {
  readonly boot: string;
  readonly at: Instant;
  readonly uptime: Span; // the largest reported
  readonly byNewestReport: Instant; // when it started, counted back from the arrival of its newest report
  /** A few earlier starts: a report from one of them was delayed. */
  readonly before: readonly { readonly boot: string; readonly uptime: Span }[];
}

export interface RevertedPause {
  /** `restart`: it restarted and may have lost the pause. `statement`: it states that it is feeding. `portion`: it gave food. */
  readonly by: "restart" | "statement" | "portion";
  readonly at: Instant; // when the server learnt of it: the time to answer counts from here
  readonly since: Instant; // the moment of the contradiction
  readonly confirmedAt: Instant;
  /** It contradicts itself within one start, so it hasn't lost the pause: "done" alone doesn't confirm any more. */
  readonly inOneStart: boolean;
  /** It has stated that it is feeding since it confirmed. */
  readonly isStatedFeeding: boolean;
  readonly portionCount: number; // given since it had confirmed
  readonly lastPortion: GivenFood | null;
}

export const initialOrders = (): OrdersState => ({ newest: null, earlier: [], lastStatement: null });
