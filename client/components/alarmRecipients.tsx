import { recipientsLabel, unreachableText } from "#text/recipients.ts";
import type { EscalationView, YardView } from "../../server/contract/api.ts";
import { now } from "../state/clock.ts";
import { recipientsText } from "../text/recipients.ts";

/** Whom an alarm has reached; or that it has reached nobody. */
export function AlarmRecipients({
  escalation,
  yard,
}: {
  readonly escalation: EscalationView | undefined;
  readonly yard: YardView;
}) {
  if (escalation === undefined) return null;
  if (escalation.unreachable && escalation.recipientStates.length === 0) {
    return (
      <p class="problem">
        {unreachableText} <a href={`/yards/${yard.id}/recipients`}>{recipientsLabel}</a>
      </p>
    );
  }
  const text = recipientsText(escalation, now.value, yard.zone);
  return text === "" ? null : <p class="since">{text}</p>;
}
