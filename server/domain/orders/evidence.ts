import { after, type Instant, later, minutes, type Span, seconds } from "../instant.ts";
import type { Portion, PortionCause } from "../report.ts";
import type { GivenFood, Order, OrdersState, UndonePause } from "./order.ts";
import { datedBy, earlierStart, redateOrders } from "./redating.ts";

/**
 * What a feeder says and does after it has confirmed a pause. A confirmation holds only as long as nothing newer speaks
 * against it: a new start (which may have forgotten), its own word that it feeds, or food that it gave.
 */
export interface OrdersStep {
  readonly orders: OrdersState;
  /** Orders as they now are, each to be stored. */
  readonly changed: readonly Order[];
}

export interface SeenStart {
  readonly boot: string;
  readonly uptime: Span;
  readonly at: Instant; // when the report was sent
  readonly paused: boolean | null; // what the same report says
}

/** A report that is news, before its events are taken: it tells from which start of the feeder it comes. */
export function updateOrdersByStart(
  orders: OrdersState,
  { boot, uptime, at, paused }: SeenStart,
  now: Instant,
): OrdersStep {
  const { lastStart, newest } = orders;
  const startedAt = after(at, -uptime as Span);
  if (lastStart !== undefined && lastStart.boot === boot && uptime >= lastStart.uptime) {
    const start = { ...lastStart, at: earlierStart(lastStart.at, startedAt), uptime, byNewestReport: startedAt };
    return reviewNewest({ ...redateOrders(orders, startedAt), lastStart: start }, now);
  }
  const before =
    lastStart === undefined ? [] : [...lastStart.before, { boot: lastStart.boot, uptime: lastStart.uptime }];
  const begun: OrdersState = {
    ...orders,
    lastStart: { boot, at: startedAt, uptime, byNewestReport: startedAt, before: before.slice(-startsKept) },
  };
  if (lastStart === undefined) return unchangedOrders(begun); // nothing was known of any start before
  if (begun.undonePause !== undefined)
    return unchangedOrders({ ...begun, undonePause: { ...begun.undonePause, inOneStart: false } });
  // A feeder that says that it is paused has remembered it over its new start.
  if (newest === null || newest.answeredAt === null || !isPauseInForce(newest, at) || paused === true) {
    return unchangedOrders(begun);
  }
  const undone = newUndonePause("restart", startedAt, newest.answeredAt, now);
  return revertConfirmation(begun, newest, { ...undone, inOneStart: false });
}

/** A report from a start that is over: no feeder goes back to it, so the report was under way for long. */
export const isFromEarlierStart = ({ lastStart }: OrdersState, boot: string, uptime: Span): boolean =>
  lastStart !== undefined &&
  lastStart.boot !== boot &&
  lastStart.before.some((earlier) => earlier.boot === boot && uptime >= earlier.uptime);

/** What the feeder says of itself with each report; `at` is when it said so. Late words change nothing. */
export function updateOrdersByPaused(
  orders: OrdersState,
  paused: boolean | null,
  at: Instant,
  now: Instant = at,
): OrdersStep {
  if (paused === null) return unchangedOrders(orders);
  if (orders.feederSays !== null && at < orders.feederSays.at) return unchangedOrders(orders);
  const heard = withStatement(orders, paused, at);
  const { newest, undonePause } = heard;
  if (newest === null) return unchangedOrders(heard);
  if (!paused && undonePause !== undefined)
    return unchangedOrders({ ...heard, undonePause: { ...undonePause, isStatedFeeding: true } });
  if (!paused) return reviewNewest(heard, now);
  if (undonePause === undefined || !isUnanswered(newest) || !canConfirm(undonePause, at)) return unchangedOrders(heard);
  // Food that is learnt of only now is told first: the word of the same report must not hide it.
  const isTold = undonePause.lastPortion === null || undonePause.at < now;
  return isTold ? confirmOrder(heard, newest, at) : unchangedOrders(heard);
}

/** Food was given, at a moment that is known. */
export function updateOrdersByPortion(
  orders: OrdersState,
  portion: Portion & { readonly recordedAt: Instant },
  now: Instant,
): OrdersStep {
  const given = { ...givenFoodOf(portion), ...datedBy(orders, portion.recordedAt) };
  const gave = orders.lastFood !== undefined && orders.lastFood.at > given.at ? orders.lastFood : given;
  const fed = { ...orders, lastFood: gave };
  const { newest, undonePause } = fed;
  if (newest?.kind !== "pause") return unchangedOrders(fed);
  if (undonePause !== undefined) {
    const counts = isUnanswered(newest) && given.motorStartedAt > undonePause.confirmedAt && isBeforeEnd(newest, given);
    return unchangedOrders(counts ? { ...fed, undonePause: withPortion(undonePause, given) } : fed);
  }
  if (newest.answeredAt === null || newest.status !== "confirmed") return unchangedOrders(fed);
  if (given.motorStartedAt <= newest.answeredAt || !isBeforeEnd(newest, given)) return unchangedOrders(fed);
  return revertConfirmation(fed, newest, pauseUndoneByFood(fed, newest.answeredAt, given, now));
}

/**
 * A confirmation against what is known already: the feeder's word that it feeds may have overtaken it on the way, and so may
 * food that it gave.
 */
export function reviewNewest(orders: OrdersState, now: Instant): OrdersStep {
  const { newest, feederSays, lastFood } = orders;
  if (newest === null || newest.answeredAt === null || orders.undonePause !== undefined) return unchangedOrders(orders);
  if (newest.kind !== "pause" || newest.status !== "confirmed") return unchangedOrders(orders);
  if (lastFood !== undefined && lastFood.motorStartedAt > newest.answeredAt && isBeforeEnd(newest, lastFood)) {
    return revertConfirmation(orders, newest, pauseUndoneByFood(orders, newest.answeredAt, lastFood, now));
  }
  if (feederSays === null || feederSays.paused || feederSays.at < newest.answeredAt) return unchangedOrders(orders);
  if (!isBefore(newest, feederSays.at)) return unchangedOrders(orders);
  return revertConfirmation(orders, newest, newUndonePause("statement", feederSays.at, newest.answeredAt, now));
}

/** The feeder's word stands for the order again, from this moment on. */
export function confirmOrder(orders: OrdersState, newest: Order, at: Instant): OrdersStep {
  const { undonePause, ...rest } = orders;
  const { datedBy: by } = datedBy(orders, at);
  const dated = by === undefined ? rest : { ...rest, answerDatedBy: by };
  return withNewest(dated, { ...newest, status: "confirmed", answeredAt: at, problem: null });
}

/** Whether the feeder's word of `at` can mend a confirmation that was undone. */
function canConfirm({ by, since, inOneStart, lastPortion }: UndonePause, at: Instant): boolean {
  if (at <= since) return false;
  if (lastPortion === null) return true;
  // Who said "paused" and gave food is believed when it has stood still for a while; who started anew, at once.
  const quietSince = inOneStart && by === "portion" ? after(lastPortion.at, noFoodFor) : lastPortion.at;
  return at > quietSince;
}

/** "Done" says less than the word "paused": a feeder that said it and went on feeding in the same start isn't believed for it. */
export const canConfirmByDone = (undone: UndonePause, sentAt: Instant | null, at: Instant): boolean =>
  sentAt !== null && at >= sentAt && !(undone.inOneStart && undone.isStatedFeeding) && canConfirm(undone, at);

/** What the feeder last said of itself in the start that it lives in; null where it hasn't said, or started anew since. */
export function currentStatement({ feederSays, lastStart, undonePause }: OrdersState): OrdersState["feederSays"] {
  if (feederSays === null) return null;
  if (undonePause?.by === "restart" && feederSays.at <= undonePause.since) return null; // of a start that is known to be over
  return lastStart !== undefined && feederSays.at < lastStart.at ? null : feederSays;
}

export const isUnanswered = ({ status }: Order): boolean =>
  status === "requested" || status === "sent" || status === "overdue";

/** @param until when a pause ends that it says to have carried out; left out: its word doesn't tell, so a known end holds. */
export function withStatement(orders: OrdersState, paused: boolean, at: Instant, until?: Instant | null): OrdersState {
  const { feederSays } = orders;
  if (feederSays !== null && at < feederSays.at) return orders;
  const ends = until === undefined && feederSays?.paused === true ? feederSays.until : until;
  const said = { paused, at: feederSays === null ? at : later(at, feederSays.at), ...datedBy(orders, at) };
  return { ...orders, feederSays: paused && ends != null ? { ...said, until: ends } : said };
}

export const unchangedOrders = (orders: OrdersState): OrdersStep => ({ orders, changed: [] });
export const withNewest = (orders: OrdersState, newest: Order): OrdersStep => ({
  orders: { ...orders, newest },
  changed: [newest],
});

const startsKept = 8; // as many as its clock remembers

/** How long a feeder that gave food against its own word must give none before its word counts again. Our choice. */
const noFoodFor = minutes(10);

/** A feeder ends a pause by its own clock, which may run a little ahead of ours. Our choice. */
export const endsEarlyMax = seconds(60);

/** A portion is recorded when it is over or when it begins: nobody says which. A usual run, where it isn't said either. */
const usualRun = seconds(4);
const recordingDelay = seconds(1);

function givenFoodOf({ recordedAt, motorRan, cause }: Portion & { readonly recordedAt: Instant }): GivenFood {
  const ran = ((motorRan ?? usualRun) + recordingDelay) as Span;
  return { at: recordedAt, motorStartedAt: after(recordedAt, -ran as Span), cause: cause as PortionCause };
}

const isPauseInForce = ({ kind, status, until }: Order, at: Instant): boolean =>
  kind === "pause" && status === "confirmed" && (until === null || at < until);

const isBeforeEnd = (order: Order, { at }: GivenFood): boolean => isBefore(order, at);
const isBefore = ({ until }: Order, at: Instant): boolean => until === null || at < after(until, -endsEarlyMax as Span);

const newUndonePause = (by: UndonePause["by"], since: Instant, confirmedAt: Instant, now: Instant): UndonePause => ({
  by,
  at: now,
  since,
  confirmedAt,
  inOneStart: true,
  isStatedFeeding: by === "statement",
  portionCount: 0,
  lastPortion: null,
});

/** Food that an earlier start gave, and tells of only now, says nothing of the start that lives. */
function pauseUndoneByFood(
  { lastStart }: OrdersState,
  confirmedAt: Instant,
  given: GivenFood,
  now: Instant,
): UndonePause {
  const inOneStart = lastStart === undefined || given.at >= lastStart.at;
  return withPortion({ ...newUndonePause("portion", given.at, confirmedAt, now), inOneStart }, given);
}

function withPortion(undone: UndonePause, given: GivenFood): UndonePause {
  const { lastPortion, portionCount, since } = undone;
  return {
    ...undone,
    by: "portion",
    since: later(since, given.at),
    portionCount: portionCount + 1,
    lastPortion: lastPortion !== null && lastPortion.at > given.at ? lastPortion : given,
  };
}

/** To be carried to the feeder again, and answered anew. */
const revertConfirmation = (orders: OrdersState, newest: Order, undone: UndonePause): OrdersStep =>
  withNewest({ ...orders, undonePause: undone }, { ...newest, status: "requested", sentAt: null, answeredAt: null });
