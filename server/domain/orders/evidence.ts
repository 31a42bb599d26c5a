import { after, type Instant, later, minutes, type Span, seconds } from "../instant.ts";
import type { Portion } from "../report.ts";
import type { GivenFood, Order, OrdersState, PauseStatement, RevertedPause } from "./order.ts";
import { datedBy, earlierStart, redateOrders } from "./redating.ts";

/**
 * What a feeder reports and does after it has confirmed a pause. A confirmation holds only until something newer contradicts it:
 * a restart (which may have lost the pause), its own statement that it is feeding, or food that it gave.
 */
export interface OrdersStep {
  readonly orders: OrdersState;
  /** Orders as they now are, each to be stored. */
  readonly changed: readonly Order[];
}

export interface ReportedStart {
  readonly boot: string;
  readonly uptime: Span;
  readonly at: Instant; // when the report was sent
  readonly paused: boolean | null; // stated in the same report
}

/** The start of the feeder that a new report comes from; before the report's events. */
export function updateOrdersByStart(
  orders: OrdersState,
  { boot, uptime, at, paused }: ReportedStart,
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
  const restarted: OrdersState = {
    ...orders,
    lastStart: { boot, at: startedAt, uptime, byNewestReport: startedAt, before: before.slice(-startsStoredMax) },
  };
  if (lastStart === undefined) return unchangedOrders(restarted); // nothing was known of any start before
  if (restarted.revertedPause !== undefined)
    return unchangedOrders({ ...restarted, revertedPause: { ...restarted.revertedPause, inOneStart: false } });
  // A feeder that states that it is paused has kept the pause over its restart.
  if (newest === null || newest.answeredAt === null || !isPauseInForce(newest, at) || paused === true) {
    return unchangedOrders(restarted);
  }
  const reverted = newRevertedPause("restart", startedAt, newest.answeredAt, now);
  return revertConfirmation(restarted, newest, { ...reverted, inOneStart: false });
}

/** A report from an earlier start: no feeder goes back to it, so the report was delayed. */
export const isFromEarlierStart = ({ lastStart }: OrdersState, boot: string, uptime: Span): boolean =>
  lastStart !== undefined &&
  lastStart.boot !== boot &&
  lastStart.before.some((earlier) => earlier.boot === boot && uptime >= earlier.uptime);

/** The feeder's own state in a report; `at` is when it was stated. Older statements change nothing. */
export function updateOrdersByPaused(
  orders: OrdersState,
  paused: boolean | null,
  at: Instant,
  now: Instant = at,
): OrdersStep {
  const { lastStatement } = orders;
  if (paused === null || (lastStatement !== null && at < lastStatement.at)) return unchangedOrders(orders);
  const stated = withStatement(orders, paused, at);
  const { newest, revertedPause } = stated;
  if (newest === null) return unchangedOrders(stated);
  if (paused) {
    return revertedPause === undefined ? unchangedOrders(stated) : confirmAgain(stated, newest, revertedPause, at, now);
  }
  return revertedPause === undefined
    ? reviewNewest(stated, now)
    : unchangedOrders({ ...stated, revertedPause: { ...revertedPause, isStatedFeeding: true } });
}

function confirmAgain(
  orders: OrdersState,
  newest: Order,
  reverted: RevertedPause,
  at: Instant,
  now: Instant,
): OrdersStep {
  if (!isUnanswered(newest) || !canConfirm(reverted, at)) return unchangedOrders(orders);
  // Food that is reported only now raises its fault first: the statement of the same report must not hide it.
  const isFoodKnown = reverted.lastPortion === null || reverted.at < now;
  return isFoodKnown ? confirmOrder(orders, newest, at) : unchangedOrders(orders);
}

/** Written out, not spread: it runs for each portion. */
function withLastFood(orders: OrdersState, lastFood: GivenFood): OrdersState {
  const { newest, earlier, lastStatement, replaced, answerDatedBy, lastStart, revertedPause } = orders;
  const fed: { -readonly [part in keyof OrdersState]: OrdersState[part] } = {
    newest,
    earlier,
    lastStatement,
    lastFood,
  };
  if (replaced !== undefined) fed.replaced = replaced;
  if (answerDatedBy !== undefined) fed.answerDatedBy = answerDatedBy;
  if (lastStart !== undefined) fed.lastStart = lastStart;
  if (revertedPause !== undefined) fed.revertedPause = revertedPause;
  return fed;
}

/** Food was given at a known moment. */
export function updateOrdersByPortion(
  orders: OrdersState,
  portion: Portion & { readonly recordedAt: Instant },
  now: Instant,
): OrdersStep {
  const given = givenFoodOf(portion, datedBy(orders, portion.recordedAt).datedBy);
  const lastFood = orders.lastFood !== undefined && orders.lastFood.at > given.at ? orders.lastFood : given;
  const fed = withLastFood(orders, lastFood);
  const { newest, revertedPause } = fed;
  if (newest?.kind !== "pause" || !isBeforeEnd(newest, given)) return unchangedOrders(fed);
  if (revertedPause !== undefined) {
    const counts = isUnanswered(newest) && given.motorStartedAt > revertedPause.confirmedAt;
    return unchangedOrders(counts ? { ...fed, revertedPause: withPortion(revertedPause, given) } : fed);
  }
  const confirmedAt = newest.status === "confirmed" ? newest.answeredAt : null;
  if (confirmedAt === null || given.motorStartedAt <= confirmedAt) return unchangedOrders(fed);
  return revertConfirmation(fed, newest, pauseRevertedByFood(fed, confirmedAt, given, now));
}

/**
 * Checks a confirmation against what is known already: a statement of the feeder that it is feeding may have arrived before
 * it, and so may food that it gave.
 */
export function reviewNewest(orders: OrdersState, now: Instant): OrdersStep {
  const { newest, lastStatement, lastFood } = orders;
  const isConfirmedPause = newest?.kind === "pause" && newest.status === "confirmed" && newest.answeredAt !== null;
  if (!isConfirmedPause || orders.revertedPause !== undefined) return unchangedOrders(orders);
  const confirmedAt = newest.answeredAt;
  if (lastFood !== undefined && lastFood.motorStartedAt > confirmedAt && isBeforeEnd(newest, lastFood)) {
    return revertConfirmation(orders, newest, pauseRevertedByFood(orders, confirmedAt, lastFood, now));
  }
  return lastStatement !== null && isContradiction(newest, confirmedAt, lastStatement)
    ? revertConfirmation(orders, newest, newRevertedPause("statement", lastStatement.at, confirmedAt, now))
    : unchangedOrders(orders);
}

const isContradiction = (pause: Order, confirmedAt: Instant, { paused, at }: PauseStatement): boolean =>
  !paused && at >= confirmedAt && isBefore(pause, at);

/** The order is confirmed by the feeder from this moment on. */
export function confirmOrder(orders: OrdersState, newest: Order, at: Instant): OrdersStep {
  const { revertedPause, ...rest } = orders;
  const { datedBy: by } = datedBy(orders, at);
  const dated = by === undefined ? rest : { ...rest, answerDatedBy: by };
  return withNewest(dated, { ...newest, status: "confirmed", answeredAt: at, problem: null });
}

/** Whether a statement made at `at` can confirm a reverted pause again. */
function canConfirm({ by, since, inOneStart, lastPortion }: RevertedPause, at: Instant): boolean {
  if (at <= since) return false;
  if (lastPortion === null) return true;
  // A feeder that stated "paused" and gave food must give none for a while; one that restarted is believed at once.
  const provenFrom = inOneStart && by === "portion" ? after(lastPortion.at, noFoodFor) : lastPortion.at;
  return at > provenFrom;
}

/** "Done" is weaker than the statement "paused": a feeder that sent it and went on feeding in the same start is not believed. */
export const canConfirmByDone = (reverted: RevertedPause, sentAt: Instant | null, at: Instant): boolean =>
  sentAt !== null && at >= sentAt && !(reverted.inOneStart && reverted.isStatedFeeding) && canConfirm(reverted, at);

/** The feeder's last statement in its present start; null where there is none. */
export function currentStatement({
  lastStatement,
  lastStart,
  revertedPause,
}: OrdersState): OrdersState["lastStatement"] {
  if (lastStatement === null) return null;
  if (revertedPause?.by === "restart" && lastStatement.at <= revertedPause.since) return null; // of a start that has ended
  return lastStart !== undefined && lastStatement.at < lastStart.at ? null : lastStatement;
}

export const isUnanswered = ({ status }: Order): boolean =>
  status === "requested" || status === "sent" || status === "overdue";

/** @param until the end of the pause that it states; left out: not stated, so a known end holds. */
export function withStatement(orders: OrdersState, paused: boolean, at: Instant, until?: Instant | null): OrdersState {
  const { lastStatement } = orders;
  if (lastStatement !== null && at < lastStatement.at) return orders;
  const ends = until === undefined && lastStatement?.paused === true ? lastStatement.until : until;
  const statement = { paused, at: lastStatement === null ? at : later(at, lastStatement.at), ...datedBy(orders, at) };
  return { ...orders, lastStatement: paused && ends != null ? { ...statement, until: ends } : statement };
}

export const unchangedOrders = (orders: OrdersState): OrdersStep => ({ orders, changed: [] });
export const withNewest = (orders: OrdersState, newest: Order): OrdersStep => ({
  orders: { ...orders, newest },
  changed: [newest],
});

const startsStoredMax = 8; // as many as the feeder's clock stores

/** How long a feeder that gave food against its own statement must give none before its statement counts again. Our choice. */
const noFoodFor = minutes(10);

/** A feeder ends a pause by its own clock, which may be a little fast. Our choice. */
export const endsEarlyMax = seconds(60);

/** A portion is recorded at its end or at its start: the protocol leaves it open. The usual run, where it isn't reported. */
const usualRun = seconds(4);
const recordingDelay = seconds(1);

function givenFoodOf(
  { recordedAt, motorRan, cause }: Portion & { readonly recordedAt: Instant },
  by: Instant | undefined,
): GivenFood {
  const ran = ((motorRan ?? usualRun) + recordingDelay) as Span;
  const motorStartedAt = after(recordedAt, -ran as Span);
  return by === undefined
    ? { at: recordedAt, motorStartedAt, cause }
    : { at: recordedAt, motorStartedAt, cause, datedBy: by };
}

const isPauseInForce = ({ kind, status, until }: Order, at: Instant): boolean =>
  kind === "pause" && status === "confirmed" && (until === null || at < until);

const isBeforeEnd = (order: Order, { at }: GivenFood): boolean => isBefore(order, at);
const isBefore = ({ until }: Order, at: Instant): boolean => until === null || at < after(until, -endsEarlyMax as Span);

const newRevertedPause = (
  by: RevertedPause["by"],
  since: Instant,
  confirmedAt: Instant,
  now: Instant,
): RevertedPause => ({
  by,
  at: now,
  since,
  confirmedAt,
  inOneStart: true,
  isStatedFeeding: by === "statement",
  portionCount: 0,
  lastPortion: null,
});

/** Food that an earlier start gave and that is reported only now shows nothing about the present start. */
function pauseRevertedByFood(
  { lastStart }: OrdersState,
  confirmedAt: Instant,
  given: GivenFood,
  now: Instant,
): RevertedPause {
  const inOneStart = lastStart === undefined || given.at >= lastStart.at;
  return withPortion({ ...newRevertedPause("portion", given.at, confirmedAt, now), inOneStart }, given);
}

function withPortion(reverted: RevertedPause, given: GivenFood): RevertedPause {
  const { lastPortion, portionCount, since } = reverted;
  return {
    ...reverted,
    by: "portion",
    since: later(since, given.at),
    portionCount: portionCount + 1,
    lastPortion: lastPortion !== null && lastPortion.at > given.at ? lastPortion : given,
  };
}

/** The order is sent to the feeder again and waits for a new answer. */
const revertConfirmation = (orders: OrdersState, newest: Order, reverted: RevertedPause): OrdersStep =>
  withNewest(
    { ...orders, revertedPause: reverted },
    { ...newest, status: "requested", sentAt: null, answeredAt: null },
  );
