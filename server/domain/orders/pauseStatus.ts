import { after, type Instant } from "../instant.ts";
import { currentStatement, endsEarlyMax } from "./evidence.ts";
import type { Order, OrderStatus, OrdersState } from "./order.ts";
import { hasEnded } from "./orderTransitions.ts";

/**
 * What is known of a feeder's standing still, by the last that it said or did itself. No order of ours is in it: that a
 * keeper asked is told beside it.
 */
export type PauseStatus =
  | { readonly kind: "paused"; readonly at: Instant }
  | { readonly kind: "feeding"; readonly at: Instant }
  /** A pause that was to end by itself, and nothing said or done since. */
  | { readonly kind: "endedUnconfirmed"; readonly until: Instant }
  /** It never said, or hasn't said since it started anew. */
  | { readonly kind: "unknown"; readonly startedAt: Instant | null };

export function pauseStatus(orders: OrdersState, now: Instant): PauseStatus {
  const { newest, lastFood, lastStart, undonePause } = orders;
  const word = currentStatement(orders);
  const fedLast =
    lastFood !== undefined && (word === null ? !isBeforeStart(orders, lastFood.at) : lastFood.motorStartedAt > word.at);
  // Food that was given against its word is believed before that word, until it has confirmed anew.
  if (undonePause?.lastPortion && (word === null || word.paused))
    return { kind: "feeding", at: undonePause.lastPortion.at };
  if (lastFood !== undefined && fedLast) return { kind: "feeding", at: lastFood.at };
  if (word === null)
    return { kind: "unknown", startedAt: lastStart === undefined || orders.feederSays === null ? null : lastStart.at };
  if (!word.paused) return { kind: "feeding", at: word.at };
  // The pause that it carried out may be an older one than was asked last.
  const ends = [word.until, newest?.kind === "pause" ? newest.until : null];
  const until = ends.find((end) => end != null && now >= end && word.at < end);
  return until == null ? { kind: "paused", at: word.at } : { kind: "endedUnconfirmed", until };
}

/**
 * Whether the feeder is to be taken as paused, so that standing still is no fault. Only its own word counts, and not a
 * word from before a resume was asked, from before it started anew, or against what it did.
 */
export function isPaused(orders: OrdersState, now: Instant): boolean {
  const { newest, undonePause } = orders;
  const standing = pauseStatus(orders, now);
  if (standing.kind !== "paused" || undonePause !== undefined) return false;
  return newest?.kind !== "resume" || standing.at >= newest.requestedAt;
}

/** Where an order stands, as a keeper is told: nothing is called confirmed beside the opposite. */
export type DisplayedStatus = OrderStatus | "ended" | "contradicted";

export function displayedStatus(orders: OrdersState, order: Order, now: Instant): DisplayedStatus {
  const { status, kind } = order;
  if (hasEnded(order, now)) return "ended";
  if (kind === "pause") {
    if (orders.undonePause !== undefined && orders.undonePause.by !== "restart")
      return status === "refused" ? status : "contradicted";
    // By its own clock, which may run ahead of ours, its time was up.
    const early = status === "confirmed" && order.until !== null && now >= after(order.until, -endsEarlyMax as never);
    return early && pauseStatus(orders, now).kind === "feeding" ? "ended" : status;
  }
  return status === "confirmed" && isStatedPausedAgain(orders, order) ? "contradicted" : status;
}

/** A resume that it confirmed, and yet it says later that it is paused. */
export function isStatedPausedAgain(orders: OrdersState, resume: Order): boolean {
  const word = currentStatement(orders);
  return (
    word?.paused === true && resume.answeredAt !== null && word.at > resume.answeredAt && !hasFedSince(orders, word.at)
  );
}

/** By its word or its deed it has fed after that moment. */
export function hasFedSince(orders: OrdersState, at: Instant): boolean {
  const { lastFood, feederSays } = orders;
  return (
    (lastFood !== undefined && lastFood.motorStartedAt > at) || (feederSays?.paused === false && feederSays.at > at)
  );
}

const isBeforeStart = ({ lastStart }: OrdersState, at: Instant): boolean =>
  lastStart !== undefined && at < lastStart.at;
