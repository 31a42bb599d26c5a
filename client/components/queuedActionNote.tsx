import { expiresAt, type QueuedAction } from "../offline/actionQueue.ts";
import { cancelAction } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { capitalize } from "../text/amount.ts";
import { momentText } from "../text/clock.ts";

/** Something the keeper asked for that has not left the phone yet. */
export function QueuedActionNote(props: { readonly act: QueuedAction; readonly zone: string }) {
  const { act, zone } = props;
  const say = (at: number) => momentText(new Date(at).toISOString(), now.value, zone);
  return (
    <p class="waiting">
      <strong>
        {capitalize(act.text)}: waiting {"yard" in act ? "for a connection" : "on this phone"}.
      </strong>{" "}
      Asked at {say(act.requestedAt)}; the server doesn't know of it yet. It is sent as soon as there is a connection,
      and let go at {say(expiresAt(act))}.{" "}
      <button type="button" class="plain" onClick={() => void cancelAction(act)}>
        Take it back
      </button>
    </p>
  );
}
