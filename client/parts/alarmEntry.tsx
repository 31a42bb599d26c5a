import { useRef, useState } from "preact/hooks";
import type { AlarmView, FeederView, YardView } from "../../server/contract/api.ts";
import { Pennant } from "../drawing/glyphs.tsx";
import { paths } from "../reach/api.ts";
import { act } from "../state/acts.ts";
import { now } from "../state/now.ts";
import { callWords, isSetAside, phaseWords } from "../words/alarm.ts";
import { sentence } from "../words/amount.ts";
import { localDate, shiftDate, timeOf, whenWords, zonedInstant } from "../words/clock.ts";

/** One alarm: what is wrong, by what signs we know, what to do, and what the keeper can answer. */
export function AlarmEntry(props: { readonly alarm: AlarmView; readonly feeder: FeederView; readonly yard: YardView }) {
  const { alarm, feeder, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const perform = async (kind: "acknowledge" | "shelve", path: string, words: string, body: unknown) => {
    setBusy(true);
    await act(feeder, { kind, path, words, body: () => body });
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is gone
  };
  const acknowledge = () =>
    perform("acknowledge", paths.acknowledge(feeder.id, alarm.fault), `acknowledge ${alarm.title}`, {});
  const waitsForKeeper = alarm.phase === "unacknowledged" || alarm.phase === "returnedUnacknowledged";
  return (
    <li class={`alarm ${alarm.priority} ${alarm.phase}`}>
      <Pennant priority={isSetAside(alarm) ? "note" : alarm.priority} />
      <h3 ref={heading} tabIndex={-1}>
        {sentence(alarm.title)}
        <span class="priority">{callWords(alarm)}</span>
      </h3>
      <p class="since">{phaseWords(alarm, now.value, yard.zone)}</p>
      <p>{alarm.reason}</p>
      {!isSetAside(alarm) && alarm.phase !== "returnedUnacknowledged" && <p class="act">{alarm.act}</p>}
      {alarm.evidence.length > 0 && (
        <details>
          <summary>How we know</summary>
          <dl class="numbers">
            {alarm.evidence.map((each) => (
              <div key={each.what}>
                <dt>{sentence(each.what)}</dt>
                <dd>
                  {each.value}
                  {each.at !== null && <small> at {whenWords(each.at, now.value, yard.zone)}</small>}
                </dd>
              </div>
            ))}
          </dl>
        </details>
      )}
      <div class="answers">
        {waitsForKeeper && (
          <button type="button" disabled={busy} onClick={() => void acknowledge()}>
            {alarm.phase === "returnedUnacknowledged" ? "Seen" : "Acknowledge"}
          </button>
        )}
        {!isSetAside(alarm) && alarm.phase !== "returnedUnacknowledged" && (
          <details class="shelve">
            <summary>Shelve…</summary>
            <p class="hint">
              Keeps quiet about this until the time you choose, then tells you again if it still stands.
            </p>
            <div class="answers">
              {shelfEnds(now.value, yard.zone).map(({ words, until }) => (
                <button
                  key={words}
                  type="button"
                  disabled={busy}
                  onClick={() =>
                    void perform("shelve", paths.shelve(feeder.id, alarm.fault), `shelve ${alarm.title} ${words}`, {
                      until,
                    })
                  }
                >
                  {sentence(words)}
                </button>
              ))}
            </div>
          </details>
        )}
      </div>
    </li>
  );
}

const hourMs = 3_600_000;
/** A shelf always has an end. */
function shelfEnds(nowMs: number, zone: string) {
  const morning = zonedInstant(shiftDate(localDate(nowMs, zone), 1), "07:00", zone);
  return [
    { words: "for 1 hour", until: new Date(nowMs + hourMs).toISOString() },
    { words: `until tomorrow at ${timeOf(morning, zone)}`, until: morning },
    { words: "for 3 days", until: new Date(nowMs + 72 * hourMs).toISOString() },
  ];
}
