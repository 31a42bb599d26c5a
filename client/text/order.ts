import * as text from "#text/order.ts";
import type { OrderView, PauseView } from "../../server/contract/api.ts";
import { momentText } from "./clock.ts";

/** The state of an order in one line. */
export interface OrderHeadline {
  readonly headline: string;
  readonly needsAttention: boolean; // the keeper can't rely on it
}

/** It was confirmed once, and the feeder has restarted since. */
export const isLostByRestart = ({ status }: OrderView, lost: PauseView["lost"]) =>
  lost?.by === "restart" && status !== "ended" && status !== "refused";

/** The state of the newest order; null where there is nothing to show. */
export function orderHeadline(
  order: OrderView,
  now: number,
  zone: string,
  lost: PauseView["lost"] = null,
): OrderHeadline | null {
  const { kind, status, until } = order;
  if (isLostByRestart(order, lost)) return stateHeadline(orderName(order, now, zone), "uncertain", true);
  switch (status) {
    case "contradicted":
      return { headline: contradictionText(order, lost), needsAttention: true };
    case "ended":
      return until === null
        ? null
        : { headline: text.pauseEndedText(momentText(until, now, zone)), needsAttention: false };
    case "superseded":
      return null;
    case "refused":
      return stateHeadline(kind === "pause" ? text.pauseLabel : text.resumeLabel, status, true);
    default:
      return stateHeadline(orderName(order, now, zone), status, status === "overdue");
  }
}

/** "Pause until 14:20", "Pause until resumed", "Resume" */
function orderName({ kind, until }: OrderView, now: number, zone: string): string {
  if (kind === "resume") return text.resumeLabel;
  return until === null ? text.pauseUntilResumedLabel : text.pauseUntilText(momentText(until, now, zone));
}

const stateHeadline = (order: string, state: keyof typeof text.orderStateTexts, needsAttention: boolean) => ({
  headline: text.headlineText(order, text.orderStateTexts[state]),
  needsAttention,
});

function contradictionText({ kind }: OrderView, lost: PauseView["lost"]): string {
  if (kind === "resume") return text.resumeFailedText;
  return lost?.by === "portion" ? text.pauseFailedPortionText : text.pauseFailedReportText;
}

/** Whether the sensible next order is to resume: the feeder is paused, or a pause is on its way to it. */
export function isResumeOffered(pause: PauseView): boolean {
  const { order, statement } = pause;
  if (order === null || order.status === "superseded" || order.status === "refused" || order.status === "ended") {
    return statement?.paused ?? false;
  }
  if (order.status === "contradicted") return true; // a pause on its way again, or a resume that is not followed
  if (order.status === "confirmed") {
    // After the confirmation the feeder's later report counts: a pause with an end ends without a new order.
    return statement?.paused ?? order.kind === "pause";
  }
  return order.kind === "pause";
}
