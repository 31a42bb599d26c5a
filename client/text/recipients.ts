import type { EscalationView } from "../../server/contract/api.ts";
import { momentText } from "./clock.ts";

/**
 * Whom an alarm has reached so far: "Told: Ada at 20:14, shown on a phone; Bo at 20:29, by mail." Empty where nobody was told,
 * as of an alarm that waits for the morning.
 */
export function recipientsText({ recipientStates, acknowledgedBy }: EscalationView, now: number, zone: string): string {
  if (recipientStates.length === 0) return "";
  const each = recipientStates.map(({ name, lastNotifiedAt, displayedAt, emailedAt }) => {
    const proof = displayedAt !== null ? "shown on a phone" : emailedAt !== null ? "by mail" : "not yet shown";
    return `${name} at ${momentText(lastNotifiedAt, now, zone)}, ${proof}`;
  });
  const seen = acknowledgedBy === null ? "" : ` ${acknowledgedBy} has seen it.`;
  return `Told: ${each.join("; ")}.${seen}`;
}

export const unreachableText = "Nobody could be told of this: no phone takes notices, and there is no other way.";

export const findEscalation = (calls: readonly EscalationView[], feeder: string | null, fault: string) =>
  calls.find((call) => call.feeder === feeder && call.fault === fault);
