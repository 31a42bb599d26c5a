import type { OrderView, PauseView } from "../../server/contract/api.ts";
import { whenWords } from "./clock.ts";

/** One stage on an order's way to the feeder: what it is called, and whether it has come so far. */
export interface OrderStage {
  readonly name: string;
  readonly reached: boolean;
  readonly at: string | null; // null while not reached
  readonly wrong: boolean;
}

export interface OrderWords {
  readonly headline: string;
  readonly detail: string;
  readonly stages: readonly OrderStage[];
  readonly worry: boolean; // the keeper may not take it as done
}

/** Where the newest order stands, in words a keeper can act on; null where there is nothing to tell. */
export function orderWords(
  order: OrderView,
  now: number,
  zone: string,
  undone: PauseView["undone"] = null,
): OrderWords | null {
  const what = order.kind === "pause" ? "Pause" : "Resume";
  const end = order.until === null ? "until resumed" : `until ${whenWords(order.until, now, zone)}`;
  const extent = order.kind === "pause" ? ` ${end}` : "";
  const asked = `${order.askedBy} asked at ${whenWords(order.askedAt, now, zone)}.`;
  const stages = stagesOf(order);
  const when = (at: string) => whenWords(at, now, zone);
  // It was confirmed once, and the feeder has started anew since.
  if (undone !== null && undone.by === "restart" && order.phase !== "ended" && order.phase !== "refused") {
    return {
      headline: `${what}${extent}: no longer known to hold`,
      detail: `The feeder said at ${when(undone.confirmedAt)} that it had paused, and has started anew since. It is asked again. Until it says so again, take it that the feeder feeds.`,
      stages,
      worry: true,
    };
  }
  switch (order.phase) {
    case "contradicted":
      return {
        headline: contradictionOf(order, undone),
        detail: contradictionWords(order, undone, when),
        stages,
        worry: true,
      };
    case "ended":
      return order.until === null
        ? null
        : { headline: `Pause: its time ended at ${when(order.until)}`, detail: asked, stages, worry: false };
    case "asked":
      return {
        headline: `${what}${extent}: asked`,
        detail: `${asked} It goes out when the feeder next reports. Until then the feeder goes on as before.`,
        stages,
        worry: false,
      };
    case "sent":
      return {
        headline: `${what}${extent}: sent, not yet confirmed`,
        detail: `${asked} Wait for the feeder's own word before you rely on it.`,
        stages,
        worry: false,
      };
    case "overdue":
      return {
        headline: `${what}${extent}: not confirmed in time`,
        detail:
          order.kind === "pause"
            ? `${asked} Take it that the feeder is still feeding. If it must stop, go there and switch it off.`
            : `${asked} Take it that the feeder is still paused.`,
        stages,
        worry: true,
      };
    case "confirmed":
      return {
        headline: `${what}${extent}: confirmed by the feeder`,
        detail: order.answeredAt === null ? asked : `The feeder said so at ${whenWords(order.answeredAt, now, zone)}.`,
        stages,
        worry: false,
      };
    case "refused":
      return {
        headline: `${what}: refused by the feeder`,
        detail: order.problem === null ? "The feeder gave no reason." : `Its own words: “${order.problem}”`,
        stages,
        worry: true,
      };
    case "superseded":
      return null;
  }
}

const contradictionOf = (order: OrderView, undone: PauseView["undone"]): string => {
  if (order.kind === "resume") return "Resume not kept: the feeder says that it is paused";
  return undone?.by === "portion"
    ? "Pause not kept: the feeder gives food"
    : "Pause not kept: the feeder says that it feeds";
};

function contradictionWords(order: OrderView, undone: PauseView["undone"], when: (at: string) => string): string {
  if (order.kind === "resume" || undone === null) {
    return "Somebody may have paused it by hand, so the order is not sent again. If nobody is at the feeder, resume it anew.";
  }
  const fed =
    undone.portions === 0 ? "" : ` ${undone.portions === 1 ? "One portion" : `${undone.portions} portions`} since.`;
  return `It said at ${when(undone.confirmedAt)} that it had paused; this no longer held at ${when(undone.since)}.${fed} The pause is sent again. If it must stop, go there and switch it off.`;
}

function stagesOf(order: OrderView): readonly OrderStage[] {
  if (order.phase === "contradicted") {
    return [
      { name: "asked", reached: true, at: order.askedAt, wrong: false },
      { name: "sent", reached: order.sentAt !== null, at: order.sentAt, wrong: false },
      { name: "not kept", reached: true, at: null, wrong: true },
    ];
  }
  const last: OrderStage = {
    name: order.phase === "refused" ? "refused" : order.phase === "overdue" ? "overdue" : "confirmed",
    reached:
      order.answeredAt !== null ||
      order.phase === "confirmed" ||
      order.phase === "refused" ||
      order.phase === "overdue",
    at: order.answeredAt,
    wrong: order.phase === "refused" || order.phase === "overdue",
  };
  return [
    { name: "asked", reached: true, at: order.askedAt, wrong: false },
    { name: "sent", reached: order.sentAt !== null, at: order.sentAt, wrong: false },
    last,
  ];
}

/** What the feeder itself last said or did: the only thing that counts. */
export function feederSaysWords(pause: PauseView, now: number, zone: string): string {
  const { standing, feederGave: gave } = pause;
  if (standing.kind === "endedUnheard") {
    return `It was to resume at ${whenWords(standing.at, now, zone)} by itself. It has not said since whether it did.`;
  }
  if (standing.kind === "unknown" && standing.at !== null) {
    return `It started anew at ${whenWords(standing.at, now, zone)} and has not said since whether it feeds.`;
  }
  if (standing.kind === "feeding" && gave !== null && gave.at === standing.at) {
    return `The feeder last gave food at ${whenWords(gave.at, now, zone)}.`;
  }
  if (pause.feederSays === null) return "The feeder has not yet said whether it is feeding or paused.";
  const state = pause.feederSays.paused ? "paused" : "feeding as usual";
  return `The feeder itself last said: ${state}, at ${whenWords(pause.feederSays.at, now, zone)}.`;
}

/** Whether the sensible next order is to resume: the feeder is paused, or a pause is on its way to it. */
export function wantsResume(pause: PauseView): boolean {
  const { order, feederSays } = pause;
  if (order === null || order.phase === "superseded" || order.phase === "refused" || order.phase === "ended") {
    return feederSays?.paused ?? false;
  }
  if (order.phase === "contradicted") return true; // a pause on its way again, or a resume that isn't kept
  if (order.phase === "confirmed") {
    // After the confirmation the feeder's later word wins: a pause with an end ends by itself.
    return feederSays?.paused ?? order.kind === "pause";
  }
  return order.kind === "pause";
}
