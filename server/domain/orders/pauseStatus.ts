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
  const { newest, lastFood: gave, lastStart: start, undonePause: undone } = orders;
  const word = currentStatement(orders);
  const fedLast =
    gave !== undefined && (word === null ? !isBeforeStart(orders, gave.at) : gave.motorStartedAt > word.at);
  // Food that was given against its word is believed before that word, until it has confirmed anew.
  if (undone?.lastPortion && (word === null || word.paused)) return { kind: "feeding", at: undone.lastPortion.at };
  if (gave !== undefined && fedLast) return { kind: "feeding", at: gave.at };
  if (word === null)
    return { kind: "unknown", startedAt: start === undefined || orders.feederSays === null ? null : start.at };
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
  const { newest, undonePause: undone } = orders;
  const standing = pauseStatus(orders, now);
  if (standing.kind !== "paused" || undone !== undefined) return false;
  return newest?.kind !== "resume" || standing.at >= newest.requestedAt;
}

/** Where an order stands, as a keeper is told: nothing is called confirmed beside the opposite. */
export type DisplayedStatus = OrderStatus | "ended" | "contradicted";

export function displayedStatus(orders: OrdersState, order: Order, now: Instant): DisplayedStatus {
  const { status: phase, kind } = order;
  if (hasEnded(order, now)) return "ended";
  if (kind === "pause") {
    if (orders.undonePause !== undefined && orders.undonePause.by !== "restart")
      return phase === "refused" ? phase : "contradicted";
    // By its own clock, which may run ahead of ours, its time was up.
    const early = phase === "confirmed" && order.until !== null && now >= after(order.until, -endsEarlyMax as never);
    return early && pauseStatus(orders, now).kind === "feeding" ? "ended" : phase;
  }
  return phase === "confirmed" && isStatedPausedAgain(orders, order) ? "contradicted" : phase;
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
  const { lastFood: gave, feederSays } = orders;
  return (gave !== undefined && gave.motorStartedAt > at) || (feederSays?.paused === false && feederSays.at > at);
}

const isBeforeStart = ({ lastStart: start }: OrdersState, at: Instant): boolean => start !== undefined && at < start.at;
