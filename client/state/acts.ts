import { acknowledgeText } from "#text/actions.ts";
import { pauseUntilResumedAction } from "#text/order.ts";
import type { AlarmView, FeederView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { lastQueuedOrder } from "../offline/actionQueue.ts";
import { isResumeOffered } from "../text/order.ts";
import { performOnFeeder, queuedActions } from "./actions.ts";

/** What several pages offer with one tap. */

export const pauseNow = (feeder: FeederView) =>
  performOnFeeder(feeder, {
    kind: "pause",
    path: paths.orders(feeder.id),
    text: pauseUntilResumedAction,
    body: (id) => ({ id, kind: "pause", until: null }),
  });

export const acknowledgeNow = (feeder: FeederView, { fault, title, raisedAt }: AlarmView) =>
  performOnFeeder(feeder, {
    kind: "acknowledge",
    path: paths.acknowledge(feeder.id, fault),
    text: acknowledgeText(title),
    body: (id) => ({ id, raisedAt }),
  });

/** It is paused, or an order for it is on its way. An order that is not sent yet is newer than what the server knows. */
export function isPausing(feeder: FeederView): boolean {
  const queued = lastQueuedOrder(feeder.id, queuedActions.value);
  return queued === null ? isResumeOffered(feeder.pause) : queued === "pause";
}
