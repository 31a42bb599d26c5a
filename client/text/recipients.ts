import * as text from "#text/recipients.ts";
import type { EscalationView } from "../../server/contract/api.ts";
import { momentText } from "./clock.ts";

/**
 * Whom an alarm has reached: "Notified: Ada at 20:14 (shown on a phone); Bo at 20:29 (e-mail)." Empty where nobody was
 * notified, as of an alarm that waits for the morning.
 */
export function recipientsText({ recipientStates, acknowledgedBy }: EscalationView, now: number, zone: string): string {
  if (recipientStates.length === 0) return "";
  const recipients = recipientStates
    .map(({ name, lastNotifiedAt, displayedAt, emailedAt }) => {
      const time = momentText(lastNotifiedAt, now, zone);
      if (displayedAt !== null) return text.displayedText(name, time);
      return emailedAt !== null ? text.emailedText(name, time) : text.notDisplayedText(name, time);
    })
    .join("; ");
  return acknowledgedBy === null
    ? text.notifiedText(recipients)
    : text.notifiedAcknowledgedText(recipients, acknowledgedBy);
}

export const findEscalation = (escalations: readonly EscalationView[], feeder: string | null, fault: string) =>
  escalations.find((each) => each.feeder === feeder && each.fault === fault);
