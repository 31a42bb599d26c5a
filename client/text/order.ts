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
  const end = until === null ? text.pauseUntilResumedLabel : text.pauseUntilText(momentText(until, now, zone));
  const what = kind === "pause" ? end : text.resumeLabel;
  const headline = (subject: string, state: keyof typeof text.orderStateTexts, needsAttention: boolean) => ({
    headline: text.headlineText(subject, text.orderStateTexts[state]),
    needsAttention,
  });
  if (isLostByRestart(order, lost)) return headline(what, "uncertain", true);
  switch (status) {
    case "contradicted":
      return { headline: contradictionText(order, lost), needsAttention: true };
    case "ended":
      if (until === null) return null;
      return { headline: text.pauseEndedText(momentText(until, now, zone)), needsAttention: false };
    case "requested":
    case "sent":
    case "confirmed":
      return headline(what, status, false);
    case "overdue":
      return headline(what, status, true);
    case "refused":
      return headline(kind === "pause" ? text.pauseLabel : text.resumeLabel, status, true);
    case "superseded":
      return null;
  }
}

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
