import type { EscalationView, YardView } from "../../server/contract/api.ts";
import { now } from "../state/clock.ts";
import { recipientsText, unreachableText } from "../text/recipients.ts";

/** Whom an alarm has reached; or that it has reached nobody. */
export function AlarmRecipients({
  call,
  yard,
}: {
  readonly call: EscalationView | undefined;
  readonly yard: YardView;
}) {
  if (call === undefined) return null;
  if (call.unreachable && call.recipientStates.length === 0) {
    return (
      <p class="problem">
        {unreachableText} <a href={`/yards/${yard.id}/recipients`}>Who is told</a>
      </p>
    );
  }
  const words = recipientsText(call, now.value, yard.zone);
  return words === "" ? null : <p class="since">{words}</p>;
}
