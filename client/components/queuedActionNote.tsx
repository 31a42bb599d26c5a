import { cancelLabel } from "#text/common.ts";
import * as text from "#text/queuedAction.ts";
import { expiresAt, type QueuedAction } from "../offline/actionQueue.ts";
import { cancelAction } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { capitalize } from "../text/amount.ts";
import { momentText } from "../text/clock.ts";

/** An action that has not left the phone yet. */
export function QueuedActionNote(props: { readonly action: QueuedAction; readonly zone: string }) {
  const { action, zone } = props;
  const when = (at: number) => momentText(new Date(at).toISOString(), now.value, zone);
  return (
    <p class="queued">
      <strong>{text.queuedText(capitalize(action.text))}</strong>{" "}
      {text.queuedDetail(when(action.requestedAt), when(expiresAt(action)))}{" "}
      <button type="button" class="plain" onClick={() => void cancelAction(action)}>
        {cancelLabel}
      </button>
    </p>
  );
}
