import type { FeederView, OrderView, PauseView } from "../../server/contract/api.ts";
import { momentText } from "./clock.ts";
import { isStale, type PageState } from "./feeder.ts";
import { orderText } from "./order.ts";

/** The state of one feeder's order, for its entry among others. */
export interface FeederOrderText {
  readonly text: string;
  readonly needsAttention: boolean;
}

/** For so long the confirmation of a resume is told beside each feeder. Our choice. */
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
 * "Paused: 5 of 7 confirmed. Not yet: Larch, Rowan.": what became of the newest order for the whole yard, by what each feeder
 * itself last said or did; null where there is none, or it is long done.
 */
export function yardOrderSummary(feeders: readonly FeederView[], page: PageState): string | null {
  const yardOrder = currentYardOrder(feeders, page);
  if (yardOrder === null) return null;
  const { now, asOf, zone } = page;
  const concerned = feeders.filter(({ pause: { order } }) => order !== null && isSameOrder(order, yardOrder));
  const missing = concerned.filter(({ pause }) => !isCarriedOut(pause, now));
  const others = feeders.filter((feeder) => !concerned.includes(feeder));
  const what = yardOrder.kind === "pause" ? "Paused" : "Feeding again";
  const all = concerned.length;
  const count = missing.length === 0 ? `all ${all} confirmed.` : `${all - missing.length} of ${all} confirmed.`;
  const words = [`${what}: ${count}`, namedFeeders("Not yet", missing), namedFeeders("Not part of this", others)];
  const said = words.filter((each) => each !== "").join(" ");
  if (!isStale(page)) return said;
  return `As of ${momentText(new Date(asOf).toISOString(), now, zone)}: ${said.charAt(0).toLowerCase()}${said.slice(1)}`;
}

const namedFeeders = (what: string, feeders: readonly FeederView[]) =>
  feeders.length === 0
    ? ""
    : `${what}: ${feeders
        .map(({ name }) => name)
        .sort((one, other) => one.localeCompare(other))
        .join(", ")}.`;

/** All feeders of a yard are asked under one id; an id that only one feeder has is that feeder's own. */
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

/** Confirmed by the feeder, and nothing since says otherwise. A view that an older build kept has no standing. */
function isCarriedOut({ order, status, lost }: PauseView, now: number): boolean {
  if (order?.status !== "confirmed" || lost != null || isPastItsEnd(order, now)) return false;
  const known = (status as PauseView["status"] | undefined)?.kind;
  return known === (order.kind === "pause" ? "paused" : "feeding");
}
/** It may have resumed by itself since the view was made. */
const isPastItsEnd = ({ until }: OrderView, now: number) => until !== null && now >= Date.parse(until);

function orderStateText(order: OrderView, pause: PauseView, { now, zone }: PageState): FeederOrderText | null {
  const said = orderText(order, now, zone, pause.lost ?? null);
  if (said === null || order.status !== "confirmed" || pause.lost != null) {
    return said === null ? null : { text: said.headline, needsAttention: said.needsAttention };
  }
  if (!isCarriedOut(pause, now)) return { text: notFollowedText(order, pause, now, zone), needsAttention: true };
  const at = order.answeredAt === null ? "" : ` at ${momentText(order.answeredAt, now, zone)}`;
  return { text: `${said.headline}${at}`, needsAttention: false };
}

/** It was confirmed, but what the feeder said or did since, or its silence, doesn't bear it out. */
function notFollowedText(order: OrderView, pause: PauseView, now: number, zone: string): string {
  const standing = pause.status as PauseView["status"] | undefined;
  if (order.kind === "resume") {
    return standing?.kind === "paused"
      ? "Resume not kept: the feeder says that it is paused"
      : "Resume: not known whether it feeds again";
  }
  if (standing?.kind === "feeding") return "Pause not kept: the feeder feeds";
  const end = order.until === null ? "until resumed" : `until ${momentText(order.until, now, zone)}`;
  return `Pause ${end}: no longer known to hold`;
}
