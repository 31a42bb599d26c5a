import { randomUUID } from "node:crypto";
import type { Ports, YardRow } from "../ports.ts";

/** The yard that a house begins with. Its keeper changes what doesn't fit. */

/** Minutes until the next person is told of what is urgent. Common practice, no source. */
export const usualEscalation = 15;

export const firstYard = (zone: string): YardRow => ({
  id: randomUUID(),
  name: "My yard",
  zone,
  place: null,
  digestTime: "07:30",
  digestWanted: true,
  practice: false,
  escalateMinutes: usualEscalation,
});

/**
 * Adds the first yard where there is none, for the only keeper. An earlier version could die between the claim and the yard,
 * and without a yard no feeder can be added. The keeper's time zone isn't known here: UTC, until they choose theirs.
 */
export async function ensureYard({ clock, store, live }: Ports, keeper: string): Promise<void> {
  const added = await store.atomically(async ({ yards, keepers }) => {
    const alone = (await keepers.countKeepers()) === 1;
    if (!alone || (await yards.yards()).some(({ practice }) => !practice)) return false;
    await yards.addYard(firstYard("UTC"), keeper, clock.now());
    return true;
  });
  if (added) live.reconnect(keeper);
}
