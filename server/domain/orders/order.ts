import type { Instant, Span } from "../instant.ts";
import type { PortionCause } from "../report.ts";

/** What a keeper may tell a feeder to do. */
export type OrderKind = "pause" | "resume";

/**
 * An order on its way: `asked` by the keeper, `sent` to the feeder, and in the end `confirmed` or `refused` by the feeder's
 * own word. `overdue` is one that should have been answered by now; it is still carried to the feeder, and can still be
 * confirmed. `superseded` is one that a newer order replaced before the feeder answered. A confirmation that no longer holds
 * is taken back: the order is `asked` again, and `undone` says why.
 */
export type OrderStatus = "requested" | "sent" | "overdue" | "confirmed" | "refused" | "superseded";

export interface Order {
  readonly id: string; // chosen by whoever asks, so that asking twice is asking once
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
  /** Ids of orders before the newest, a few: an old one that is asked again (a phone's retry) must not come back to life. */
  readonly earlier: readonly string[];
  /** The last orders that a newer one replaced: their answers still say how the feeder stands. Left out before the first. */
  readonly replaced?: readonly ReplacedOrder[];
  /** The start of the feeder by which the newest order's answer was dated (redating.ts). */
  readonly answerDatedBy?: Instant;
  /** What the feeder itself last said about being paused, and when; null while it never said. */
  readonly lastStatement: PauseStatement | null;
  /** The last food that it gave; left out before the first portion. */
  readonly lastFood?: GivenFood;
  /** The start of the feeder from which it last reported; left out before its first report. */
  readonly lastStart?: FeederStart;
  /** Why the newest order, a pause that the feeder had confirmed, is no longer known to hold; left out while it is. */
  readonly revertedPause?: RevertedPause;
}

export type ReplacedOrder = Pick<Order, "id" | "kind" | "until">;

/** A moment that a feeder told. */
export interface DatedMoment {
  readonly at: Instant;
  /** The start of the feeder by which it was dated; left out where that is not the start that lives. */
  readonly datedBy?: Instant;
}

export interface PauseStatement extends DatedMoment {
  readonly paused: boolean;
  /** When the pause that it carried out ends by itself, whatever was asked since; left out where it doesn't. */
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
  readonly uptime: Span; // the largest that it has told
  readonly byNewestReport: Instant; // when it started, counted back from the arrival of its newest report
  /** Earlier starts, a few: what still comes from one of them was under way for long. */
  readonly before: readonly { readonly boot: string; readonly uptime: Span }[];
}

export interface RevertedPause {
  /** `restart`: it started anew and may have forgotten. `word`: it says that it feeds. `portion`: it gave food. */
  readonly by: "restart" | "statement" | "portion";
  readonly at: Instant; // when we learnt of it: an answer is waited for from here
  readonly since: Instant; // the moment of what undid it
  readonly confirmedAt: Instant;
  /** It contradicts itself within one start, so it hasn't forgotten: its bare "done" proves nothing any more. */
  readonly inOneStart: boolean;
  /** It said itself that it feeds, since it had confirmed. */
  readonly isStatedFeeding: boolean;
  readonly portionCount: number; // given since it had confirmed
  readonly lastPortion: GivenFood | null;
}

export const initialOrders = (): OrdersState => ({ newest: null, earlier: [], lastStatement: null });
