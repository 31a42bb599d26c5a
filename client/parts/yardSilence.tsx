import { useRef, useState } from "preact/hooks";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { Pennant } from "../drawing/glyphs.tsx";
import { paths } from "../reach/api.ts";
import { act } from "../state/acts.ts";
import { now } from "../state/now.ts";
import { priorityWords } from "../words/alarm.ts";
import { whenWords } from "../words/clock.ts";
import { callOf } from "../words/told.ts";
import { silenceOf, silenceWords } from "../words/yardSilence.ts";
import { Told } from "./told.tsx";

/** Several feeders that went silent together: one cause, so one entry, and one answer for all of them. */
export function YardSilence(props: { readonly silent: readonly FeederView[]; readonly yard: YardView }) {
  const { silent, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const [first] = silent;
  if (first?.lastHeardAt == null) return null;
  const open = silent.filter((feeder) => silenceOf(feeder)?.phase === "unacknowledged");
  const acknowledge = async () => {
    setBusy(true);
    for (const feeder of open) {
      const alarm = silenceOf(feeder);
      if (alarm === undefined) continue;
      await act(feeder, {
        kind: "acknowledge",
        path: paths.acknowledge(feeder.id, alarm.fault),
        words: `acknowledge ${alarm.title}`,
        body: (id) => ({ id, raisedAt: alarm.raisedAt }),
      });
    }
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is gone
  };
  return (
    <div class={`alarm urgent yard-silence ${open.length > 0 ? "unacknowledged" : "acknowledged"}`}>
      <Pennant priority="urgent" />
      <h3 ref={heading} tabIndex={-1}>
        {silenceWords(silent, yard.feeders.length)}
        <span class="priority">{priorityWords.urgent}</span>
      </h3>
      <p class="since">
        Last heard about {whenWords(first.lastHeardAt, now.value, yard.zone)}
        {open.length === 0 && "; acknowledged"}
      </p>
      <p>Most likely one thing is wrong for all of them: their power, or the network that they share.</p>
      <p class="act">Look at what feeds them all: the supply, its fuse, the router.</p>
      <Told call={callOf(yard.calls, null, "feederSilent")} yard={yard} />
      {open.length > 0 && (
        <div class="answers">
          <button type="button" disabled={busy} onClick={() => void acknowledge()}>
            Acknowledge
          </button>
        </div>
      )}
    </div>
  );
}
