import { atTimeText } from "#text/feeder.ts";
import * as orderTexts from "#text/order.ts";
import * as text from "#text/yardOrder.ts";
import type { FeederView, OrderView, PauseView } from "../../server/contract/api.ts";
import { uncapitalize } from "./amount.ts";
import { momentText } from "./clock.ts";
import { isStale, type PageState } from "./feeder.ts";
import { orderHeadline } from "./order.ts";

/** The state of one feeder's order, for its entry among others. */
export interface FeederOrderText {
  readonly text: string;
  readonly needsAttention: boolean;
}

/** For this time the confirmation of a resume is shown with each feeder. Our choice. */
const confirmationShownMs = 3_600_000;

/** The state of each feeder's order where it belongs to an order for the yard, or is not known to be carried out; null else. */
export function feederOrderTexts(feeders: readonly FeederView[], page: PageState): readonly (FeederOrderText | null)[] {
  const yardOrder = currentYardOrder(feeders, page);
  return feeders.map(({ pause }) => {
    const { order } = pause;
    if (order === null || !isActive(order)) return null;
    return order.id === yardOrder?.id || !isCarriedOut(pause, page.now) ? orderStateText(order, pause, page) : null;
  });
}

/**
 * "Paused: 5 of 7 feeders confirmed. Not confirmed: Larch, Rowan.": the state of the newest order for the whole yard, by
 * what each feeder itself last reported or did; null where there is none, or it is long carried out.
 */
export function yardOrderSummary(feeders: readonly FeederView[], page: PageState): string | null {
  const yardOrder = currentYardOrder(feeders, page);
  if (yardOrder === null) return null;
  const { now, asOf, zone } = page;
  const concerned = feeders.filter(({ pause: { order } }) => order !== null && isSameOrder(order, yardOrder));
  const missing = concerned.filter(({ pause }) => !isCarriedOut(pause, now));
  const others = feeders.filter((feeder) => !concerned.includes(feeder));
  const title = yardOrder.kind === "pause" ? text.pausedTitle : text.feedingAgainTitle;
  const all = concerned.length;
  const summary =
    (missing.length === 0
      ? text.allConfirmedText(title, all)
      : text.someConfirmedText(title, all - missing.length, all) + text.notConfirmedText(sortedNames(missing))) +
    (others.length === 0 ? "" : text.notIncludedText(sortedNames(others)));
  if (!isStale(page)) return summary;
  return atTimeText(momentText(new Date(asOf).toISOString(), now, zone), uncapitalize(summary));
}

const sortedNames = (feeders: readonly FeederView[]) =>
  feeders
    .map(({ name }) => name)
    .sort((one, other) => one.localeCompare(other))
    .join(", ");

/** All feeders of a yard get an order under one id; an id that only one feeder has is of that feeder alone. */
function currentYardOrder(feeders: readonly FeederView[], page: PageState): OrderView | null {
  const active = feeders.flatMap(({ pause: { order } }) => (order !== null && isActive(order) ? [order] : []));
  const [newest] = active
    .filter((order) => active.filter(({ id }) => id === order.id).length > 1)
    .sort((one, other) => Date.parse(other.requestedAt) - Date.parse(one.requestedAt));
  if (newest === undefined) return null;
  const own = feeders.filter(({ pause: { order } }) => order?.id === newest.id);
  if (newest.kind === "pause" || own.some(({ pause }) => !isCarriedOut(pause, page.now))) return newest;
  const answers = own.map(({ pause: { order } }) => Date.parse(order?.answeredAt ?? newest.requestedAt));
  return page.now - Math.max(...answers) < confirmationShownMs ? newest : null;
}

const isActive = ({ status }: OrderView) => status !== "superseded" && status !== "ended";
/** A feeder that was paused by itself before or after is paused all the same. */
const isSameOrder = (order: OrderView, other: OrderView) => order.kind === other.kind && isActive(order);

/** Confirmed by the feeder, and nothing since contradicts it. A view that an older build stored has no status. */
function isCarriedOut({ order, status, lost }: PauseView, now: number): boolean {
  if (order?.status !== "confirmed" || lost != null || isPastItsEnd(order, now)) return false;
  return (status as PauseView["status"] | undefined)?.kind === (order.kind === "pause" ? "paused" : "feeding");
}
/** It may have resumed by itself since the view was made. */
const isPastItsEnd = ({ until }: OrderView, now: number) => until !== null && now >= Date.parse(until);

function orderStateText(order: OrderView, pause: PauseView, { now, zone }: PageState): FeederOrderText | null {
  const lost = pause.lost ?? null;
  const state = orderHeadline(order, now, zone, lost);
  if (state === null) return null;
  const { headline, needsAttention } = state;
  if (order.status !== "confirmed" || lost !== null) return { text: headline, needsAttention };
  if (!isCarriedOut(pause, now)) return { text: notFollowedText(order, pause, now, zone), needsAttention: true };
  const at = order.answeredAt;
  return {
    text: at === null ? headline : orderTexts.headlineAtText(headline, momentText(at, now, zone)),
    needsAttention: false,
  };
}

/** It was confirmed, but what the feeder reported or did since does not agree, or it stopped reporting. */
function notFollowedText(order: OrderView, pause: PauseView, now: number, zone: string): string {
  const status = (pause.status as PauseView["status"] | undefined)?.kind;
  if (order.kind === "resume") return status === "paused" ? orderTexts.resumeFailedText : orderTexts.resumeUnknownText;
  if (status === "feeding") return orderTexts.pauseFailedFeedingText;
  const pauseText =
    order.until === null
      ? orderTexts.pauseUntilResumedLabel
      : orderTexts.pauseUntilText(momentText(order.until, now, zone));
  return orderTexts.headlineText(pauseText, orderTexts.orderStateTexts.uncertain);
}
