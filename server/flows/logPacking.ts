import { before, type Span } from "../domain/instant.ts";
import type { Ports } from "../ports.ts";

/** A tick packs the days of so many feeders at most: each has one a day. */
const stepsAtOnce = 10;

/**
 * Keeps the log small: days that are over are packed, old ones thinned, and the file gives back what is free. Each step is a short
 * transaction of its own, so that a report waits for one at most.
 * @param keepRaw how long readings are stored
 */
export async function packLogs({ clock, store }: Pick<Ports, "clock" | "store">, keepRaw: Span): Promise<void> {
  const { packs } = store;
  const now = clock.now();
  for (const step of [() => packs.packNext(now), () => packs.thinNext(before(now, keepRaw)), () => packs.shrink()]) {
    for (let taken = 0; taken < stepsAtOnce; taken += 1) if (!(await step())) break;
  }
}
