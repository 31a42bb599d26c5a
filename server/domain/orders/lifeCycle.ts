import type { Fault } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import { after, type Instant, later, milliseconds, type Span, seconds } from "../instant.ts";
import type { Order, OrdersState } from "./order.ts";

/**
 * The life of an order: asked -> sent -> confirmed | refused, with `overdue` on the way where the feeder keeps silent.
 * Only the feeder's own word ends it. The newest order wins; an older one that was never answered is superseded. A
 * repeated order, answer or asking changes nothing, so that every part of the way may try again.
 * (A resume feeds nothing that was missed meanwhile: that is the feeder's duty, and stands in the feeder's contract.)
 */
export interface OrdersStep {
  readonly orders: OrdersState;
  /** Orders as they now are, each to be stored. */
  readonly changed: readonly Order[];
}

/** A keeper asks. The last to reach us is the newest: the server's own order of arrival can't be fooled by a clock. */
export function askOrder(orders: OrdersState, order: Order): OrdersStep {
  const { newest } = orders;
  if (newest?.id === order.id || orders.earlier.includes(order.id)) return unchanged(orders);
  const earlier = newest === null ? orders.earlier : [...orders.earlier, newest.id].slice(-earlierKept);
  const superseded = newest !== null && isUnanswered(newest) ? [{ ...newest, phase: "superseded" as const }] : [];
  return { orders: { ...orders, newest: order, earlier }, changed: [...superseded, order] };
}

/** What must be carried to the feeder now, with each answer and over its socket, until it has answered. */
export function pendingOrders(orders: OrdersState, now: Instant): readonly Order[] {
  const { newest } = orders;
  if (newest === null || hasEnded(newest, now)) return [];
  return isUnanswered(newest) || isForgotten(orders) ? [newest] : [];
}

/** The pending order left for the feeder. One that the feeder had confirmed and forgot is on its way again. */
export function markSent(orders: OrdersState, now: Instant): OrdersStep {
  const [order] = pendingOrders(orders, now);
  if (order === undefined || order.phase === "sent") return unchanged(orders);
  if (order.phase === "overdue") {
    return order.sentAt === null ? withNewest(orders, { ...order, sentAt: now }) : unchanged(orders);
  }
  return withNewest(orders, { ...order, phase: "sent", sentAt: now });
}

export interface OrderAnswer {
  readonly order: string;
  readonly outcome: "done" | "refused";
  readonly problem: string | null;
}

/** The feeder says what became of an order. A word about an older order says nothing about the newest. */
export function answerOrder(orders: OrdersState, answer: OrderAnswer, at: Instant): OrdersStep {
  const { newest } = orders;
  if (newest === null || newest.id !== answer.order) return unchanged(orders);
  if (newest.answeredAt !== null && at <= newest.answeredAt) return unchanged(orders); // a repeat, or older word
  const phase = answer.outcome === "done" ? "confirmed" : "refused";
  const problem = answer.outcome === "done" ? null : answer.problem;
  // "Done" is also the feeder's word on how it stands; later readings may tell otherwise.
  const heard = answer.outcome === "done" ? heardOf(orders, newest.kind === "pause", at) : orders;
  if (newest.phase === phase) return unchanged(heard);
  return withNewest(heard, { ...newest, phase, answeredAt: at, problem });
}

/** What the feeder says of itself with each report; `at` is when it said so. Late words change nothing. */
export function hearPaused(orders: OrdersState, paused: boolean | null, at: Instant): OrdersStep {
  if (paused === null) return unchanged(orders);
  const heard = heardOf(orders, paused, at);
  const { newest } = heard;
  const sentAgain = newest !== null && newest.kind === "pause" && newest.answeredAt !== null && isUnanswered(newest);
  // A feeder that did as told once, forgot, and says that it is paused again has understood; it may not answer twice.
  if (heard !== orders && sentAgain && paused && newest.sentAt !== null && at > newest.sentAt) {
    return withNewest(heard, { ...newest, phase: "confirmed", answeredAt: at });
  }
  return unchanged(heard);
}

/** When the order should have been answered, had it gone well; null where none is waited for. */
export function overdueAt(orders: OrdersState, settings: Pick<FeederSettings, "reportEvery">): Instant | null {
  const { newest } = orders;
  if (newest === null || !isUnanswered(newest)) return null;
  // An order that was answered once and had to be sent again is waited for anew.
  const waitedFrom = newest.answeredAt !== null && newest.sentAt !== null ? newest.sentAt : newest.askedAt;
  return after(waitedFrom, answerMax(settings));
}

export function markOverdue(
  orders: OrdersState,
  settings: Pick<FeederSettings, "reportEvery">,
  now: Instant,
): OrdersStep {
  const { newest } = orders;
  const due = overdueAt(orders, settings);
  if (newest === null || due === null || newest.phase === "overdue") return unchanged(orders);
  if (now < due || hasEnded(newest, now)) return unchanged(orders);
  return withNewest(orders, { ...newest, phase: "overdue" });
}

/** A stop that was asked for and of which the feeder has not said that it happened. */
export function pauseFault(orders: OrdersState, settings: FeederSettings, now: Instant): Fault | null {
  const { newest, feederSays } = orders;
  if (newest === null || newest.kind !== "pause" || hasEnded(newest, now)) return null;
  // Whatever became of this very order: a feeder that says it stands still, and said so since, does.
  if (feederSays?.paused && feederSays.at >= newest.askedAt) return null;
  const due = overdueAt(orders, settings);
  const asked = { what: "asked", value: `by ${newest.askedBy}`, at: newest.askedAt };
  const said =
    feederSays === null
      ? { what: "feeder says", value: "nothing about being paused", at: null }
      : { what: "feeder says", value: feederSays.paused ? "paused" : "not paused", at: feederSays.at };
  if (newest.phase === "refused") {
    const why = newest.problem === null ? "" : ` It says: ${newest.problem}`;
    return { kind: "pauseOverdue", reason: `The feeder refused to pause.${why}`, evidence: [asked, said], sure: null };
  }
  if (due === null || now < due) return null;
  const reason =
    newest.sentAt === null
      ? "The feeder was to pause, but the order has not reached it."
      : "The feeder was to pause and the order was sent, but it has not said that it stopped.";
  return { kind: "pauseOverdue", reason, evidence: [asked, said], sure: null };
}

/**
 * Whether the feeder is to be taken as paused, so that standing still is no fault. Only its own word counts, and not a
 * word from before a resume was asked or from before the pause ran out.
 */
export function isPaused({ newest, feederSays }: OrdersState, now: Instant): boolean {
  if (feederSays === null || !feederSays.paused) return false;
  if (newest === null) return true; // paused at the feeder itself
  if (newest.kind === "resume") return feederSays.at >= newest.askedAt;
  return newest.until === null || now < newest.until || feederSays.at >= newest.until;
}

/** When time alone changes what this room says; null: nothing is under way. */
export function ordersLookAt(orders: OrdersState, settings: FeederSettings, now: Instant): Instant | null {
  const { newest } = orders;
  const moments = [newest?.until ?? null, overdueAt(orders, settings)].filter((at) => at !== null && at > now);
  return moments.length === 0 ? null : (Math.min(...(moments as Instant[])) as Instant);
}

const earlierKept = 16;

/** Two reports' time and something for the way: an order leaves on a report's answer and is answered by the next one. */
function answerMax({ reportEvery }: Pick<FeederSettings, "reportEvery">): Span {
  return Math.max(seconds(60), milliseconds(2 * reportEvery + seconds(30))) as Span;
}

function isUnanswered({ phase }: Order): boolean {
  return phase === "asked" || phase === "sent" || phase === "overdue";
}

const hasEnded = (order: Order, now: Instant): boolean =>
  order.kind === "pause" && order.until !== null && now >= order.until;

/**
 * A pause that the feeder confirmed and, by its own later word, no longer keeps: it restarted and forgot. A resume is never
 * sent again for such a word: whoever switched the feeder off by hand may have that hand in the tray.
 */
function isForgotten({ newest, feederSays }: OrdersState): boolean {
  if (newest === null || newest.kind !== "pause" || newest.phase !== "confirmed") return false;
  if (feederSays === null || newest.answeredAt === null) return false;
  return !feederSays.paused && feederSays.at > newest.answeredAt;
}

function heardOf(orders: OrdersState, paused: boolean, at: Instant): OrdersState {
  const { feederSays } = orders;
  if (feederSays !== null && at < feederSays.at) return orders;
  return { ...orders, feederSays: { paused, at: feederSays === null ? at : later(at, feederSays.at) } };
}

const unchanged = (orders: OrdersState): OrdersStep => ({ orders, changed: [] });
const withNewest = (orders: OrdersState, newest: Order): OrdersStep => ({
  orders: { ...orders, newest },
  changed: [newest],
});
