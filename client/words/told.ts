import type { CallView } from "../../server/contract/api.ts";
import { whenWords } from "./clock.ts";

/**
 * Whom an alarm has reached so far: "Told: Ada at 20:14, shown on a phone; Bo at 20:29, by mail." Empty where nobody was told,
 * as of an alarm that waits for the morning.
 */
export function toldWords({ told, acknowledgedBy }: CallView, now: number, zone: string): string {
  if (told.length === 0) return "";
  const each = told.map(({ name, lastAt, shownAt, mailedAt }) => {
    const proof = shownAt !== null ? "shown on a phone" : mailedAt !== null ? "by mail" : "not yet shown";
    return `${name} at ${whenWords(lastAt, now, zone)}, ${proof}`;
  });
  const seen = acknowledgedBy === null ? "" : ` ${acknowledgedBy} has seen it.`;
  return `Told: ${each.join("; ")}.${seen}`;
}

export const unreachableWords = "Nobody could be told of this: no phone takes notices, and there is no other way.";

export const callOf = (calls: readonly CallView[], feeder: string | null, fault: string) =>
  calls.find((call) => call.feeder === feeder && call.fault === fault);
