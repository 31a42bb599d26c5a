import { isUsableZone } from "../domain/zone.ts";
import type { YardStore } from "../ports.ts";

/**
 * A sentence for the server's log about each yard whose stored zone can't be used. Checked at the start: a zone that is stored
 * later was validated, and which zones are valid changes only with the program.
 */
export async function zoneWarnings(yards: Pick<YardStore, "yards">): Promise<readonly string[]> {
  const unusable = (await yards.yards()).filter(({ zone }) => !isUsableZone(zone));
  return unusable.map(
    ({ id, zone }) =>
      `The time zone of yard ${id} is stored as ${JSON.stringify(zone)}, which can't be used: UTC stands for it until another is chosen.`,
  );
}
