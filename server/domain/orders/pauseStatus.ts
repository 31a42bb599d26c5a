import { after, type Instant } from "../instant.ts";
import { currentStatement, endsEarlyMax } from "./evidence.ts";
import type { Order, OrderStatus, OrdersState, PauseStatement } from "./order.ts";
import { hasEnded } from "./orderTransitions.ts";

/**
 * Whether a feeder is paused, by its own last statement or action. No order is part of it: requests are shown separately.
 */
export type PauseStatus =
  | { readonly kind: "paused"; readonly at: Instant }
  | { readonly kind: "feeding"; readonly at: Instant }
  /** A pause that was due to end by itself, with no statement or action since. */
  | { readonly kind: "endedUnconfirmed"; readonly until: Instant }
  /** No statement yet, or none since it restarted. */
  | { readonly kind: "unknown"; readonly startedAt: Instant | null };

export function pauseStatus(orders: OrdersState, now: Instant): PauseStatus {
  const statement = currentStatement(orders);
  const fedAt = feedingSince(orders, statement);
  if (fedAt !== null) return { kind: "feeding", at: fedAt };
  if (statement === null) {
    const { lastStart, lastStatement } = orders;
    return { kind: "unknown", startedAt: lastStatement === null ? null : (lastStart?.at ?? null) };
  }
  if (!statement.paused) return { kind: "feeding", at: statement.at };
  // Its pause may be an older one than the last order.
  const ends = [statement.until, orders.newest?.kind === "pause" ? orders.newest.until : null];
  const until = ends.find((end) => end != null && now >= end && statement.at < end);
  return until == null ? { kind: "paused", at: statement.at } : { kind: "endedUnconfirmed", until };
}

/** The last food, where it is newer than the statement or contradicts it; null: the statement counts. */
function feedingSince(orders: OrdersState, statement: PauseStatement | null): Instant | null {
  const { lastFood, revertedPause } = orders;
  // Food against a statement counts more than the statement, until the feeder has confirmed again.
  if (revertedPause?.lastPortion && (statement === null || statement.paused)) return revertedPause.lastPortion.at;
  if (lastFood === undefined) return null;
  const isNewer = statement === null ? !isBeforeStart(orders, lastFood.at) : lastFood.motorStartedAt > statement.at;
  return isNewer ? lastFood.at : null;
}

/**
 * Whether the feeder counts as paused, so that giving no food is no fault. Only its own statement counts, and not one from before a
 * resume was requested, from before a restart, or one that its actions contradict.
 */
export function isPaused(orders: OrdersState, now: Instant): boolean {
  const { newest, revertedPause } = orders;
  const status = pauseStatus(orders, now);
  if (status.kind !== "paused" || revertedPause !== undefined) return false;
  return newest?.kind !== "resume" || status.at >= newest.requestedAt;
}

/** The status of an order as shown to keepers: never "confirmed" where the opposite is known. */
export type DisplayedStatus = OrderStatus | "ended" | "contradicted";

export function displayedStatus(orders: OrdersState, order: Order, now: Instant): DisplayedStatus {
  const { status, kind } = order;
  if (hasEnded(order, now)) return "ended";
  if (kind === "pause") {
    if (orders.revertedPause !== undefined && orders.revertedPause.by !== "restart")
      return status === "refused" ? status : "contradicted";
    // Its own clock may be fast, so that it ended early.
    const early = status === "confirmed" && order.until !== null && now >= after(order.until, -endsEarlyMax as never);
    return early && pauseStatus(orders, now).kind === "feeding" ? "ended" : status;
  }
  return status === "confirmed" && isStatedPausedAgain(orders, order) ? "contradicted" : status;
}

/** A resume that the feeder confirmed, though it states later that it is paused. */
export function isStatedPausedAgain(orders: OrdersState, resume: Order): boolean {
  const statement = currentStatement(orders);
  return (
    statement?.paused === true &&
    resume.answeredAt !== null &&
    statement.at > resume.answeredAt &&
    !hasFedSince(orders, statement.at)
  );
}

/** By its statement or by food it has been feeding after that moment. */
export function hasFedSince(orders: OrdersState, at: Instant): boolean {
  const { lastFood, lastStatement } = orders;
  return (
    (lastFood !== undefined && lastFood.motorStartedAt > at) ||
    (lastStatement?.paused === false && lastStatement.at > at)
  );
}

const isBeforeStart = ({ lastStart }: OrdersState, at: Instant): boolean =>
  lastStart !== undefined && at < lastStart.at;
