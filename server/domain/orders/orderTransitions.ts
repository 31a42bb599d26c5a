import { after, earlier, type Instant, milliseconds, type Span, seconds } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import {
  canConfirmByDone,
  confirmOrder,
  currentStatement,
  isUnanswered,
  type OrdersStep,
  reviewNewest,
  unchangedOrders,
  updateOrdersByPaused,
  withNewest,
  withStatement,
} from "./evidence.ts";
import type { Order, OrdersState, ReplacedOrder } from "./order.ts";

/**
 * The states of an order: requested -> sent -> confirmed | refused, with `overdue` between where the feeder doesn't answer.
 * Only the feeder's answer ends it. The newest order wins; an older one that was never answered is superseded. A repeated
 * request, order or answer changes nothing, so that every part may retry. A confirmed pause that no longer holds
 * (evidence.ts) is requested again.
 * (A resume doesn't make up for portions that were missed meanwhile: see the feeder's contract.)
 */
export function requestOrder(orders: OrdersState, order: Order): OrdersStep {
  const { newest } = orders;
  const before = orders.replaced ?? [];
  if (newest?.id === order.id || orders.earlier.includes(order.id) || before.some(({ id }) => id === order.id))
    return unchangedOrders(orders);
  const superseded = newest !== null && isUnanswered(newest) ? [{ ...newest, status: "superseded" as const }] : [];
  const { revertedPause, answerDatedBy, ...rest } = orders; // they belong to the order before
  const replaced = newest === null ? before : [...before, replacedForm(newest)];
  const forgotten = replaced.slice(0, -replacedMax).map(({ id }) => id);
  return {
    orders: {
      ...rest,
      ...(newest === null ? {} : { replaced: replaced.slice(-replacedMax) }),
      newest: order,
      earlier: [...orders.earlier, ...forgotten].slice(-earlierMax),
    },
    changed: [...superseded, order],
  };
}

const replacedForm = ({ id, kind, until }: Order): ReplacedOrder => ({ id, kind, until });

/** The orders that go to the feeder now, with each answer and over its socket, until it has answered. */
export function pendingOrders(orders: OrdersState, now: Instant): readonly Order[] {
  const { newest } = orders;
  if (newest === null || hasEnded(newest, now)) return [];
  return isUnanswered(newest) ? [newest] : [];
}

/** The pending order left for the feeder. */
export function markOrdersSent(orders: OrdersState, now: Instant): OrdersStep {
  const [order] = pendingOrders(orders, now);
  if (order === undefined || order.status === "sent") return unchangedOrders(orders);
  if (order.status === "overdue") {
    return order.sentAt === null ? withNewest(orders, { ...order, sentAt: now }) : unchangedOrders(orders);
  }
  return withNewest(orders, { ...order, status: "sent", sentAt: now });
}

export interface OrderAnswer {
  readonly order: string;
  readonly outcome: "done" | "refused";
  readonly problem: string | null;
}

/** The start of the feeder that an answer is from: the present one, the last known one that has ended, or an earlier one. */
export type AnswerStart = "this" | "over" | "earlier";

/**
 * The feeder's answer to an order. An answer to an older order shows only the feeder's state, not the result of the newest order.
 * @param start where it is not `this`, the answer doesn't show that the present start keeps a pause.
 */
export function answerOrder(
  orders: OrdersState,
  answer: OrderAnswer,
  answeredAt: Instant,
  now: Instant = answeredAt,
  start: AnswerStart = "this",
): OrdersStep {
  const { newest, lastStart } = orders;
  // A delayed report dates its answers too late; an earlier start had ended when the present one began.
  const at = start === "earlier" && lastStart !== undefined ? earlier(answeredAt, lastStart.at) : answeredAt;
  if (newest === null) return unchangedOrders(orders);
  if (newest.id !== answer.order) return answerReplaced(orders, answer, at, now, start);
  if (isOutdated(orders, newest, at)) return unchangedOrders(orders);
  if (answer.outcome === "done") return applyDone(orders, newest, at, now, start);
  return newest.status === "refused"
    ? unchangedOrders(orders)
    : withNewest(orders, { ...newest, status: "refused", answeredAt: at, problem: answer.problem });
}

/** A repeated or older answer, or one from before a reverted pause was sent again. */
function isOutdated({ revertedPause }: OrdersState, { answeredAt, sentAt }: Order, at: Instant): boolean {
  if (answeredAt !== null && at <= answeredAt) return true;
  return revertedPause !== undefined && (sentAt === null || at < sentAt);
}

function applyDone(orders: OrdersState, newest: Order, at: Instant, now: Instant, start: AnswerStart): OrdersStep {
  const { revertedPause } = orders;
  if (start !== "this" && newest.kind === "pause") return applyEarlierDone(orders, newest, at, now);
  if (revertedPause !== undefined && !canConfirmByDone(revertedPause, newest.sentAt, at))
    return unchangedOrders(orders);
  // "Done" is also a statement of the feeder's state; later readings may contradict it.
  const stated = withStatement(orders, newest.kind === "pause", at, newest.until);
  return newest.status === "confirmed" ? unchangedOrders(stated) : confirmAndReview(stated, newest, at, now);
}

/** The feeder followed an order that a newer one has replaced, and so is in the state of that older order. */
function answerReplaced(
  orders: OrdersState,
  answer: OrderAnswer,
  at: Instant,
  now: Instant,
  start: AnswerStart,
): OrdersStep {
  const order = orders.replaced?.find(({ id }) => id === answer.order);
  if (order === undefined || answer.outcome === "refused") return unchangedOrders(orders);
  if (start === "earlier" || (start === "over" && order.kind === "pause"))
    return unchangedOrders(withEnd(orders, order, at));
  return order.kind === "resume"
    ? updateOrdersByPaused(orders, false, at, now)
    : unchangedOrders(withStatement(orders, true, at, order.until));
}

/** Its later statement may be about this pause, which ends by itself. */
function withEnd(orders: OrdersState, { kind, until }: Pick<Order, "kind" | "until">, at: Instant): OrdersState {
  const { lastStatement, newest } = orders;
  const isOlder = newest !== null && newest.answeredAt !== null && newest.answeredAt > at;
  if (kind !== "pause" || until === null || !lastStatement?.paused || lastStatement.at < at || isOlder) return orders;
  return { ...orders, lastStatement: { ...lastStatement, until } };
}

function confirmAndReview(orders: OrdersState, newest: Order, at: Instant, now: Instant): OrdersStep {
  const step = confirmOrder(orders, newest, at);
  const reviewed = reviewNewest(step.orders, now);
  return { orders: reviewed.orders, changed: [...step.changed, ...reviewed.changed] };
}

/** It paused in an earlier start: only its own statement, now or later, shows whether the present start kept the pause. */
function applyEarlierDone(orders: OrdersState, newest: Order, at: Instant, now: Instant): OrdersStep {
  if (newest.status === "confirmed" || orders.revertedPause !== undefined) return unchangedOrders(orders);
  const statement = currentStatement(orders);
  if (statement?.paused && statement.at > at)
    return confirmAndReview(withEnd(orders, newest, at), newest, statement.at, now);
  return unchangedOrders({
    ...withStatement(orders, true, at, newest.until),
    revertedPause: {
      by: "restart",
      at: newest.requestedAt, // the confirmation was never shown: the time to answer goes on
      since: at,
      confirmedAt: at,
      inOneStart: false,
      isStatedFeeding: false,
      portionCount: 0,
      lastPortion: null,
    },
  });
}

/** When the order should have been answered; null where no answer is expected. */
export function overdueAt(orders: OrdersState, settings: Pick<FeederSettings, "reportEvery">): Instant | null {
  const { newest, revertedPause } = orders;
  if (newest === null || !isUnanswered(newest)) return null;
  // Sending it again doesn't restart the time to answer; only a reverted confirmation does, once.
  return after(revertedPause?.at ?? newest.requestedAt, answerWithin(settings));
}

export function markOrdersOverdue(
  orders: OrdersState,
  settings: Pick<FeederSettings, "reportEvery">,
  now: Instant,
): OrdersStep {
  const { newest } = orders;
  const due = overdueAt(orders, settings);
  if (newest === null || due === null || newest.status === "overdue") return unchangedOrders(orders);
  if (now < due || hasEnded(newest, now)) return unchangedOrders(orders);
  return withNewest(orders, { ...newest, status: "overdue" });
}

/** When time alone changes the result of this module; null: no order is pending. */
export function ordersCheckAt(orders: OrdersState, settings: FeederSettings, now: Instant): Instant | null {
  const { newest } = orders;
  const ends = newest?.until ?? null;
  const moments = [
    ends,
    ends === null ? null : after(ends, answerWithin(settings)),
    overdueAt(orders, settings),
  ].filter((at) => at !== null && at > now);
  return moments.length === 0 ? null : (Math.min(...(moments as Instant[])) as Instant);
}

const earlierMax = 12;
const replacedMax = 4; // a feeder without connection gets no more orders than that

/** Two report intervals and a margin: an order leaves with a report's answer and is answered by the next report. */
export function answerWithin({ reportEvery }: Pick<FeederSettings, "reportEvery">): Span {
  return Math.max(seconds(60), milliseconds(2 * reportEvery + seconds(30))) as Span;
}

export const hasEnded = (order: Order, now: Instant): boolean =>
  order.kind === "pause" && order.until !== null && now >= order.until;
