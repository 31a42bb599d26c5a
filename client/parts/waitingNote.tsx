import { expiresAt, type WaitingAct } from "../kept/waiting.ts";
import { withdraw } from "../state/acts.ts";
import { now } from "../state/now.ts";
import { sentence } from "../words/amount.ts";
import { whenWords } from "../words/clock.ts";

/** Something the keeper asked for that has not left the phone yet. */
export function WaitingNote(props: { readonly act: WaitingAct; readonly zone: string }) {
  const { act, zone } = props;
  const say = (at: number) => whenWords(new Date(at).toISOString(), now.value, zone);
  return (
    <p class="waiting">
      <strong>
        {sentence(act.words)}: waiting {"yard" in act ? "for a connection" : "on this phone"}.
      </strong>{" "}
      Asked at {say(act.askedAt)}; the server doesn't know of it yet. It is sent as soon as there is a connection, and
      let go at {say(expiresAt(act))}.{" "}
      <button type="button" class="plain" onClick={() => void withdraw(act)}>
        Take it back
      </button>
    </p>
  );
}
