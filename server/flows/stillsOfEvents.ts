import { createHash } from "node:crypto";
import type { StillPictureView } from "../contract/trainingView.ts";
import { bootLabel } from "../domain/bootNumber.ts";
import type { Instant } from "../domain/instant.ts";
import type { StillEvent, StillRow, Store } from "../ports.ts";

/** An event of a feeder, with the boot as the log has it. */
export interface EventOfFeeder {
  readonly feeder: string;
  readonly event: StillEvent;
  readonly at: Instant;
}

/** By what names a still: neither another yard nor another feeder shares it, and an event has one. */
export const stillIdOf = (yard: string, feeder: string, event: StillEvent): string =>
  stillHash("still", yard, feeder, event.boot, event.seq).digest("hex").slice(0, 32);

export const stillHash = (...parts: readonly (string | number | null)[]) =>
  createHash("sha256").update(JSON.stringify(parts));

/**
 * The stills of some events of a yard, by their place in the list. Where a boot's id was used again, the still belongs to the event at
 * whose moment it was taken.
 */
export async function stillsOfEvents(
  { stills }: Pick<Store, "stills">,
  yard: string,
  events: readonly EventOfFeeder[],
): Promise<readonly (StillRow | null)[]> {
  const ids = events.map(({ feeder, event }) => stillIdOf(yard, feeder, { ...event, boot: bootLabel(event.boot) }));
  const found = new Map((await stills.stillsById(yard, [...new Set(ids)])).map((still) => [still.id, still]));
  return events.map(({ at }, index) => {
    const still = found.get(ids[index] ?? "");
    return still?.eventKind != null && still.at === at ? still : null;
  });
}

export const stillPictureView = (still: StillRow | null): StillPictureView | null =>
  still && { id: still.id, widthPixels: still.widthPixels, heightPixels: still.heightPixels };
