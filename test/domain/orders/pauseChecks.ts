import { after, type Instant, seconds } from "../../../server/domain/instant.ts";
import type { Order } from "../../../server/domain/orders/order.ts";
import { type FeederStatement, headlineOf, type OrderRun, type OrderStep } from "./randomOrders.ts";

/**
 * What is known of a feeder's pause, from what the protocol means and not from how the server reckons: the newest fact by the
 * feeder's own time counts. Each check compares what a keeper is shown at each step with what is known at that moment.
 */
interface Moment {
  readonly lived: OrderStep;
  readonly known: readonly FeederStatement[]; // by feeder time
  readonly orders: ReadonlyMap<string, Order>;
}

type Bearing = { readonly kind: "paused" | "feeds" | "startedAnew" | "nothing"; readonly at: Instant | null };

const isDone = (id: string) => (statement: FeederStatement) => statement.what === "done" && statement.order === id;
const isStart = (statement: FeederStatement): statement is Extract<FeederStatement, { what: "starts" }> =>
  statement.what === "starts";

/** Which way the newest fact points. A refusal doesn't show whether the feeder is paused. */
function bearing(known: readonly FeederStatement[], orders: ReadonlyMap<string, Order>, now: Instant): Bearing {
  const newest = known.findLast(({ what }) => what !== "refused");
  if (newest === undefined) return { kind: "nothing", at: null };
  const { at } = newest;
  if (newest.what === "starts") return { kind: "startedAnew", at };
  if (!saysPaused(newest, orders)) return { kind: "feeds", at };
  // The last that it carried out may end by itself; a resume ended whatever was before it, and so did its word.
  const done = known.findLast(({ what }) => what === "done");
  const fedSince = known.some(
    (statement) => statement.what === "states" && !statement.paused && done !== undefined && statement.at > done.at,
  );
  const until = done?.what === "done" ? (orders.get(done.order)?.until ?? null) : null;
  return until !== null && !fedSince && now >= until && at < until
    ? { kind: "nothing", at: until }
    : { kind: "paused", at };
}

const saysPaused = (statement: FeederStatement, orders: ReadonlyMap<string, Order>): boolean =>
  statement.what === "states"
    ? statement.paused
    : statement.what === "done" && orders.get(statement.order)?.kind === "pause";
const feeds = (statement: FeederStatement): boolean =>
  statement.what === "gave" || (statement.what === "states" && !statement.paused);

/** A feeder may end a pause a minute early by its own clock. */
const mayHaveEnded = ({ until }: Order, at: Instant): boolean =>
  until !== null && at >= after(until, -seconds(60) as never);
const hasEnded = ({ kind, until }: Order, now: Instant): boolean => kind === "pause" && until !== null && now >= until;

type Check = (moment: Moment) => string | null;

const claimsPaused: Check = ({ lived: { shown, now }, known, orders }) => {
  const { kind } = bearing(known, orders, now);
  if (kind === "paused") return null;
  if (shown.standing === "paused") return `stands as paused, though what is known is: ${kind}`;
  if (shown.order?.kind === "pause" && shown.order.status === "confirmed") return `confirmed, though known is: ${kind}`;
  return /^Paused/.test(shown.words) ? `"${shown.words}", though known is: ${kind}` : null;
};

const resumeClaim: Check = ({ lived: { shown }, known }) => {
  const { order } = shown;
  if (order?.kind !== "resume" || order.status !== "confirmed") return null;
  const newest = known.findLast(({ what }) => what !== "refused" && what !== "starts");
  const done = known.findLast(isDone(order.id));
  if (newest?.what !== "states" || !newest.paused || done === undefined || newest.at <= done.at) return null;
  const lastStart = known.findLast(isStart);
  return lastStart !== undefined && lastStart.at > newest.at
    ? null
    : "a resume is confirmed, and the feeder states paused since";
};

const foodTold: Check = ({ lived: { news, newest, now, shown }, known, orders }) => {
  if (newest?.kind !== "pause" || hasEnded(newest, now)) return null;
  const against = news.find((statement) => {
    if (statement.what !== "gave" || mayHaveEnded(newest, statement.recordedAt)) return false;
    const earlier = known.filter(({ at }) => at < statement.at);
    const last = earlier.at(-1);
    if (last === undefined || !saysPaused(last, orders) || !earlier.some(isDone(newest.id))) return false;
    return !known.some((other) => isStart(other) && other.at > statement.at);
  });
  const isTold = shown.faults.includes("feedsThoughPaused") || shown.faults.includes("pauseContradicted");
  return against === undefined || isTold
    ? null
    : "food was given after the pause was confirmed, and nobody is notified";
};

const handedOut: Check = ({ lived, known, orders }) => {
  const { handedOut, newest, now } = lived;
  if (handedOut === null) return null;
  if (handedOut.some((id) => id !== newest?.id)) return "an order is handed out that isn't the newest";
  if (newest === null) return null;
  const answer = known.findLast(
    (statement) => (statement.what === "done" || statement.what === "refused") && statement.order === newest.id,
  );
  const isOver = hasEnded(newest, now) || answer?.what === "refused";
  if (handedOut.length > 0) {
    if (isOver) return "an order is handed out that is over";
    return isCleanlyFollowed(known, newest) ? "an order is handed out that is known to be followed" : null;
  }
  if (isOver) return null;
  if (answer === undefined) return "an order isn't handed out that nobody has answered";
  if (newest.kind === "resume") return null;
  const { kind, at } = bearing(known, orders, now);
  return kind === "paused" || (at !== null && mayHaveEnded(newest, at))
    ? null
    : `a pause isn't handed out, though: ${kind}`;
};

/** Done in the start that lives, or done before and remembered, and nothing since that speaks against it. */
function isCleanlyFollowed(known: readonly FeederStatement[], order: Order): boolean {
  const first = known.find(isDone(order.id));
  if (first === undefined || order.kind === "resume") return first !== undefined;
  const lastStart = known.findLast(isStart)?.at ?? order.requestedAt;
  const sinceFirst = known.filter((statement) => statement.at > first.at && feeds(statement));
  const done = known.find((statement) => isDone(order.id)(statement) && statement.at > lastStart);
  // Still paused after a new start, as it states; or done within one start.
  if (done === undefined)
    return sinceFirst.length === 0 && known.some(({ what, at }) => what === "states" && at > lastStart);
  if (done === first) return sinceFirst.length === 0;
  // Forgotten, and done again.
  const gaveSince = sinceFirst.some((statement) => statement.what === "gave" && statement.recordedAt > lastStart);
  return !gaveSince && !sinceFirst.some(({ at }) => at > done.at);
}

/** Checks that need no memory of earlier steps. */
const atOnce = { claimsPaused, resumeClaim, foodTold, handedOut } as const satisfies Record<string, Check>;

export const checkNames = [
  ...(Object.keys(atOnce) as (keyof typeof atOnce)[]),
  "waitsForEver",
  "flaps",
  "neverSettles",
] as const;
export type CheckName = (typeof checkNames)[number];

/** Two reports' time and half a minute, from the moment of asking. */
const answerMax = seconds(150);
const calmChanges = 4;

/** Food that may have been under way at the moment of another fact is taken to be the earlier one. */
const byTime = (one: FeederStatement, other: FeederStatement): number =>
  one.at - other.at || Number(other.what === "gave") - Number(one.what === "gave");

/** The first step that breaks each check, as text. */
export function brokenChecks({ steps, orders, settled }: OrderRun): ReadonlyMap<CheckName, string> {
  const broken = new Map<CheckName, string>();
  const note = (name: CheckName, lived: OrderStep, why: string | null) => {
    if (why !== null && !broken.has(name)) broken.set(name, `${name}: ${why} (${headlineOf(lived)})`);
  };
  let known: FeederStatement[] = [];
  let before: OrderStep | null = null;
  let order = { id: "", waitsFrom: 0, doneKnown: false, changes: 0, events: 0 };
  let lastSaid: boolean | null = null;
  for (const lived of steps) {
    const { news, newest, now, shown } = lived;
    if (news.length > 0) known = [...known, ...news].sort(byTime);
    for (const name of Object.keys(atOnce) as (keyof typeof atOnce)[]) {
      note(name, lived, atOnce[name]({ lived, known, orders }));
    }
    if (newest !== null) {
      const isNew = order.id !== newest.id;
      if (isNew) order = { id: newest.id, waitsFrom: newest.requestedAt, doneKnown: false, changes: 0, events: 0 };
      const status = shown.order?.status;
      const was = isNew ? undefined : before?.shown.order?.status;
      // The wait begins again where a confirmation is lost, also one that is lost as it arrives; not by sending again.
      const isFirstDone = !order.doneKnown && news.some(isDone(newest.id));
      if (was === "confirmed" || isFirstDone) order.waitsFrom = now;
      order.doneKnown ||= isFirstDone;
      if (
        (status === "sent" || status === "requested") &&
        !hasEnded(newest, now) &&
        now >= order.waitsFrom + answerMax
      ) {
        note("waitsForEver", lived, `${status} since ${(now - order.waitsFrom) / 1_000} s`);
      }
      for (const statement of news) {
        if (statement.what === "starts" || statement.what === "gave" || statement.what === "refused") order.events += 1;
        if (statement.what !== "states") continue;
        if (lastSaid !== null && statement.paused !== lastSaid) order.events += 1;
        lastSaid = statement.paused;
      }
      if (was !== undefined && status !== was) order.changes += 1;
      if (order.changes > calmChanges + 2 * order.events) {
        note("flaps", lived, `${order.changes} changes by ${order.events} events`);
      }
    }
    before = lived;
  }
  const { newest, now, shown } = settled;
  if (newest !== null && !hasEnded(newest, now) && shown.order?.status !== "refused") {
    if (shown.order?.status !== "confirmed") note("neverSettles", settled, "not confirmed in the end");
    if (newest.kind === "pause" && shown.standing !== "paused") note("neverSettles", settled, "not paused in the end");
  }
  return broken;
}
