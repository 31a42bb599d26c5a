import type { Ports } from "../ports.ts";
import { retainedContent } from "./pure/retainedContent.ts";

/**
 * For a broker that has just been reached: what it retains may be from before. A feeder that made a step meanwhile is known already, by a
 * newer state than the one read here.
 */
export async function updateAllRetained({ store, retainedMessages, clock }: RetainingPorts): Promise<void> {
  for (const { id, state } of await store.yards.feeders()) {
    if (!retainedMessages.isKnown(id)) retainedMessages.update(id, () => retainedContent(state, clock.now()));
  }
}

type RetainingPorts = Pick<Ports, "store" | "retainedMessages" | "clock">;
