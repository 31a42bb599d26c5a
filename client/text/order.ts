import type { OrderView, PauseView } from "../../server/contract/api.ts";
import { momentText } from "./clock.ts";

/** One stage on an order's way to the feeder: what it is called, and whether it has come so far. */
export interface OrderStage {
  readonly name: string;
  readonly isReached: boolean;
  readonly at: string | null; // null while not reached
  readonly isFailed: boolean;
}

export interface OrderText {
  readonly headline: string;
  readonly detail: string;
  readonly stages: readonly OrderStage[];
  readonly needsAttention: boolean; // the keeper may not take it as done
}

/** Where the newest order stands, in words a keeper can act on; null where there is nothing to tell. */
export function orderText(
  order: OrderView,
  now: number,
  zone: string,
  undone: PauseView["lost"] = null,
): OrderText | null {
  const what = order.kind === "pause" ? "Pause" : "Resume";
  const end = order.until === null ? "until resumed" : `until ${momentText(order.until, now, zone)}`;
  const extent = order.kind === "pause" ? ` ${end}` : "";
  const asked = `${order.requestedBy} asked at ${momentText(order.requestedAt, now, zone)}.`;
  const stages = orderStages(order);
  const when = (at: string) => momentText(at, now, zone);
  // It was confirmed once, and the feeder has started anew since.
  if (undone !== null && undone.by === "restart" && order.status !== "ended" && order.status !== "refused") {
    return {
      headline: `${what}${extent}: no longer known to hold`,
      detail: `The feeder said at ${when(undone.confirmedAt)} that it had paused, and has started anew since. It is asked again. Until it says so again, take it that the feeder feeds.`,
      stages,
      needsAttention: true,
    };
  }
  switch (order.status) {
    case "contradicted":
      return {
        headline: contradictionHeadline(order, undone),
        detail: contradictionText(order, undone, when),
        stages,
        needsAttention: true,
      };
    case "ended":
      return order.until === null
        ? null
        : { headline: `Pause: its time ended at ${when(order.until)}`, detail: asked, stages, needsAttention: false };
    case "requested":
      return {
        headline: `${what}${extent}: asked`,
        detail: `${asked} It goes out when the feeder next reports. Until then the feeder goes on as before.`,
        stages,
        needsAttention: false,
      };
    case "sent":
      return {
        headline: `${what}${extent}: sent, not yet confirmed`,
        detail: `${asked} Wait for the feeder's own word before you rely on it.`,
        stages,
        needsAttention: false,
      };
    case "overdue":
      return {
        headline: `${what}${extent}: not confirmed in time`,
        detail:
          order.kind === "pause"
            ? `${asked} Take it that the feeder is still feeding. If it must stop, go there and switch it off.`
            : `${asked} Take it that the feeder is still paused.`,
        stages,
        needsAttention: true,
      };
    case "confirmed":
      return {
        headline: `${what}${extent}: confirmed by the feeder`,
        detail: order.answeredAt === null ? asked : `The feeder said so at ${momentText(order.answeredAt, now, zone)}.`,
        stages,
        needsAttention: false,
      };
    case "refused":
      return {
        headline: `${what}: refused by the feeder`,
        detail: order.problem === null ? "The feeder gave no reason." : `Its own words: “${order.problem}”`,
        stages,
        needsAttention: true,
      };
    case "superseded":
      return null;
  }
}

const contradictionHeadline = (order: OrderView, undone: PauseView["lost"]): string => {
  if (order.kind === "resume") return "Resume not kept: the feeder says that it is paused";
  return undone?.by === "portion"
    ? "Pause not kept: the feeder gives food"
    : "Pause not kept: the feeder says that it feeds";
};

function contradictionText(order: OrderView, undone: PauseView["lost"], when: (at: string) => string): string {
  if (order.kind === "resume" || undone === null) {
    return "Somebody may have paused it by hand, so the order is not sent again. If nobody is at the feeder, resume it anew.";
  }
  const fed =
    undone.portions === 0 ? "" : ` ${undone.portions === 1 ? "One portion" : `${undone.portions} portions`} since.`;
  return `It said at ${when(undone.confirmedAt)} that it had paused; this no longer held at ${when(undone.since)}.${fed} The pause is sent again. If it must stop, go there and switch it off.`;
}

function orderStages(order: OrderView): readonly OrderStage[] {
  if (order.status === "contradicted") {
    return [
      { name: "asked", isReached: true, at: order.requestedAt, isFailed: false },
      { name: "sent", isReached: order.sentAt !== null, at: order.sentAt, isFailed: false },
      { name: "not kept", isReached: true, at: null, isFailed: true },
    ];
  }
  const last: OrderStage = {
    name: order.status === "refused" ? "refused" : order.status === "overdue" ? "overdue" : "confirmed",
    isReached:
      order.answeredAt !== null ||
      order.status === "confirmed" ||
      order.status === "refused" ||
      order.status === "overdue",
    at: order.answeredAt,
    isFailed: order.status === "refused" || order.status === "overdue",
  };
  return [
    { name: "asked", isReached: true, at: order.requestedAt, isFailed: false },
    { name: "sent", isReached: order.sentAt !== null, at: order.sentAt, isFailed: false },
    last,
  ];
}

/** What the feeder itself last said or did: the only thing that counts. */
export function feederStateText(pause: PauseView, now: number, zone: string): string {
  const { status, lastPortion } = pause;
  if (status.kind === "endedUnconfirmed") {
    return `It was to resume at ${momentText(status.at, now, zone)} by itself. It has not said since whether it did.`;
  }
  if (status.kind === "unknown" && status.at !== null) {
    return `It started anew at ${momentText(status.at, now, zone)} and has not said since whether it feeds.`;
  }
  if (status.kind === "feeding" && lastPortion !== null && lastPortion.at === status.at) {
    return `The feeder last gave food at ${momentText(lastPortion.at, now, zone)}.`;
  }
  if (pause.statement === null) return "The feeder has not yet said whether it is feeding or paused.";
  const state = pause.statement.paused ? "paused" : "feeding as usual";
  return `The feeder itself last said: ${state}, at ${momentText(pause.statement.at, now, zone)}.`;
}

/** Whether the sensible next order is to resume: the feeder is paused, or a pause is on its way to it. */
export function isResumeOffered(pause: PauseView): boolean {
  const { order, statement } = pause;
  if (order === null || order.status === "superseded" || order.status === "refused" || order.status === "ended") {
    return statement?.paused ?? false;
  }
  if (order.status === "contradicted") return true; // a pause on its way again, or a resume that isn't kept
  if (order.status === "confirmed") {
    // After the confirmation the feeder's later word wins: a pause with an end ends by itself.
    return statement?.paused ?? order.kind === "pause";
  }
  return order.kind === "pause";
}
