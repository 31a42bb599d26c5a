import * as text from "#text/orderDetail.ts";
import type { OrderView, PauseView } from "../../server/contract/api.ts";
import { momentText } from "./clock.ts";
import { isLostByRestart, type OrderHeadline, orderHeadline } from "./order.ts";

/** One stage on an order's way to the feeder, and whether it has come so far. */
export interface OrderStage {
  readonly name: string;
  readonly isReached: boolean;
  readonly at: string | null; // null while not reached
  readonly isFailed: boolean;
}

export interface OrderText extends OrderHeadline {
  readonly detail: string;
  readonly stages: readonly OrderStage[];
}

/** The state of the newest order with what a keeper can do about it; null where there is nothing to show. */
export function orderText(
  order: OrderView,
  now: number,
  zone: string,
  lost: PauseView["lost"] = null,
): OrderText | null {
  const headline = orderHeadline(order, now, zone, lost);
  if (headline === null) return null;
  const when = (at: string) => momentText(at, now, zone);
  return { ...headline, detail: orderDetail(order, lost, when), stages: orderStages(order) };
}

function orderDetail(order: OrderView, lost: PauseView["lost"], when: (at: string) => string): string {
  if (lost !== null && isLostByRestart(order, lost)) return text.lostByRestartDetail(when(lost.confirmedAt));
  const requested = text.requestedText(order.requestedBy, when(order.requestedAt));
  switch (order.status) {
    case "contradicted":
      return contradictionDetail(order, lost, when);
    case "requested":
      return text.requestedDetail(requested);
    case "sent":
      return text.sentDetail(requested);
    case "overdue":
      return order.kind === "pause" ? text.pauseOverdueDetail(requested) : text.resumeOverdueDetail(requested);
    case "confirmed":
      return order.answeredAt === null ? requested : text.confirmedDetail(when(order.answeredAt));
    case "refused":
      return order.problem === null ? text.refusedWithoutReasonDetail : text.refusedDetail(order.problem);
    default:
      return requested;
  }
}

const contradictionDetail = ({ kind }: OrderView, lost: PauseView["lost"], when: (at: string) => string) =>
  kind === "resume" || lost === null
    ? text.pausedByHandDetail
    : text.pauseLostDetail(when(lost.confirmedAt), when(lost.since), lost.portions);

function orderStages({ status, requestedAt, sentAt, answeredAt }: OrderView): readonly OrderStage[] {
  const isFailed = status === "refused" || status === "overdue" || status === "contradicted";
  const last = isFailed ? status : "confirmed";
  return [
    { name: text.stageTexts.requested, isReached: true, at: requestedAt, isFailed: false },
    { name: text.stageTexts.sent, isReached: sentAt !== null, at: sentAt, isFailed: false },
    {
      name: text.stageTexts[last],
      isReached: isFailed || answeredAt !== null || status === "confirmed",
      at: status === "contradicted" ? null : answeredAt, // answeredAt is the time of the confirmation
      isFailed,
    },
  ];
}

/** What the feeder itself last reported or did: nothing else counts. */
export function feederStateText(pause: PauseView, now: number, zone: string): string {
  const { status, lastPortion, statement } = pause;
  const when = (at: string) => momentText(at, now, zone);
  if (status.kind === "endedUnconfirmed") return text.resumeDueText(when(status.at));
  if (status.kind === "unknown" && status.at !== null) return text.restartedText(when(status.at));
  if (status.kind === "feeding" && lastPortion !== null && lastPortion.at === status.at) {
    return text.lastPortionText(when(lastPortion.at));
  }
  if (statement === null) return text.noStateText;
  return statement.paused ? text.lastPausedText(when(statement.at)) : text.lastFeedingText(when(statement.at));
}
