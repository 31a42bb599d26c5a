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
 * The life of an order: asked -> sent -> confirmed | refused, with `overdue` on the way where the feeder keeps silent.
 * Only the feeder's own word ends it. The newest order wins; an older one that was never answered is superseded. A
 * repeated order, answer or asking changes nothing, so that every part of the way may try again. A confirmed pause that no
 * longer holds (evidence.ts) is asked again.
 * (A resume feeds nothing that was missed meanwhile: that is the feeder's duty, and stands in the feeder's contract.)
 */
/** A keeper asks. The last to reach us is the newest: the server's own order of arrival can't be fooled by a clock. */
export function requestOrder(orders: OrdersState, order: Order): OrdersStep {
  const { newest } = orders;
  if (newest?.id === order.id || orders.earlier.includes(order.id)) return unchangedOrders(orders);
  const earlier = newest === null ? orders.earlier : [...orders.earlier, newest.id].slice(-earlierMax);
  const superseded = newest !== null && isUnanswered(newest) ? [{ ...newest, status: "superseded" as const }] : [];
  const { undonePause, answerDatedBy, ...rest } = orders; // whatever became of the order before
  const replaced =
    newest === null ? {} : { replaced: [...(orders.replaced ?? []), replacedForm(newest)].slice(-replacedMax) };
  return { orders: { ...rest, ...replaced, newest: order, earlier }, changed: [...superseded, order] };
}

const replacedForm = ({ id, kind, until }: Order): ReplacedOrder => ({ id, kind, until });

/** What must be carried to the feeder now, with each answer and over its socket, until it has answered. */
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

/** Of which start of the feeder an answer is: the one that lives, the one that was met last and is over now, or an earlier one. */
export type AnswerStart = "this" | "over" | "earlier";

/**
 * The feeder says what became of an order. An answer to an older one says nothing of the newest order, only how the feeder stands.
 * @param start where it is not `this`, the answer says nothing of how the start that lives keeps a pause.
 */
export function answerOrder(
  orders: OrdersState,
  answer: OrderAnswer,
  saidAt: Instant,
  now: Instant = saidAt,
  start: AnswerStart = "this",
): OrdersStep {
  const { newest, undonePause } = orders;
  // A report that was held up dates its answers too late; an earlier start was over when the one that lives began.
  const at = start === "earlier" && orders.lastStart !== undefined ? earlier(saidAt, orders.lastStart.at) : saidAt;
  if (newest === null) return unchangedOrders(orders);
  if (newest.id !== answer.order) return answerReplaced(orders, answer, at, now, start);
  if (newest.answeredAt !== null && at <= newest.answeredAt) return unchangedOrders(orders); // a repeat, or older word
  // An answer from before the order was sent again is the one that no longer holds.
  if (undonePause !== undefined && (newest.sentAt === null || at < newest.sentAt)) return unchangedOrders(orders);
  if (answer.outcome === "refused") {
    if (newest.status === "refused") return unchangedOrders(orders);
    return withNewest(orders, { ...newest, status: "refused", answeredAt: at, problem: answer.problem });
  }
  if (start !== "this" && newest.kind === "pause") return applyEarlierDone(orders, newest, at, now);
  if (undonePause !== undefined && !canConfirmByDone(undonePause, newest.sentAt, at)) return unchangedOrders(orders);
  // "Done" is also the feeder's word on how it stands; later readings may tell otherwise.
  const heard = withStatement(orders, newest.kind === "pause", at, newest.until);
  if (newest.status === "confirmed") return unchangedOrders(heard);
  return confirmAndReview(heard, newest, at, now);
}

/** It did what a newer order has replaced meanwhile, and so stands as that older order asked. */
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

/** What it says of itself since may be this very pause, which ends by itself. */
function withEnd(orders: OrdersState, { kind, until }: Pick<Order, "kind" | "until">, at: Instant): OrdersState {
  const { feederSays, newest } = orders;
  const isOlder = newest !== null && newest.answeredAt !== null && newest.answeredAt > at;
  if (kind !== "pause" || until === null || !feederSays?.paused || feederSays.at < at || isOlder) return orders;
  return { ...orders, feederSays: { ...feederSays, until } };
}

function confirmAndReview(orders: OrdersState, newest: Order, at: Instant, now: Instant): OrdersStep {
  const step = confirmOrder(orders, newest, at);
  const judgement = reviewNewest(step.orders, now);
  return { orders: judgement.orders, changed: [...step.changed, ...judgement.changed] };
}

/** It paused in a start that is over: whether the start that lives now has kept that, it says itself, now or later. */
function applyEarlierDone(orders: OrdersState, newest: Order, at: Instant, now: Instant): OrdersStep {
  if (newest.status === "confirmed" || orders.undonePause !== undefined) return unchangedOrders(orders);
  const word = currentStatement(orders);
  if (word?.paused && word.at > at) return confirmAndReview(withEnd(orders, newest, at), newest, word.at, now);
  return unchangedOrders({
    ...withStatement(orders, true, at, newest.until),
    undonePause: {
      by: "restart",
      at: newest.requestedAt, // nobody was told that it was confirmed: the waiting goes on
      since: at,
      confirmedAt: at,
      inOneStart: false,
      isStatedFeeding: false,
      portionCount: 0,
      lastPortion: null,
    },
  });
}

/** When the order should have been answered, had it gone well; null where none is waited for. */
export function overdueAt(orders: OrdersState, settings: Pick<FeederSettings, "reportEvery">): Instant | null {
  const { newest, undonePause } = orders;
  if (newest === null || !isUnanswered(newest)) return null;
  // Sending it again doesn't begin the waiting anew; only a confirmation that was taken back does, once.
  return after(undonePause?.at ?? newest.requestedAt, answerWithin(settings));
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

/** When time alone changes what this room says; null: nothing is under way. */
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

const earlierMax = 16;
const replacedMax = 4; // a feeder that is cut off is asked that often at the most

/** Two reports' time and something for the way: an order leaves on a report's answer and is answered by the next one. */
export function answerWithin({ reportEvery }: Pick<FeederSettings, "reportEvery">): Span {
  return Math.max(seconds(60), milliseconds(2 * reportEvery + seconds(30))) as Span;
}

export const hasEnded = (order: Order, now: Instant): boolean =>
  order.kind === "pause" && order.until !== null && now >= order.until;
