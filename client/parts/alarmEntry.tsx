import { useRef, useState } from "preact/hooks";
import type { AlarmView, FeederView, YardView } from "../../server/contract/api.ts";
import { Pennant } from "../drawing/glyphs.tsx";
import type { FeederAct } from "../kept/waiting.ts";
import { paths } from "../reach/api.ts";
import { act } from "../state/acts.ts";
import { now } from "../state/now.ts";
import { callWords, explainedAlarms, isLatched, isOver, isSetAside, phaseWords } from "../words/alarm.ts";
import { sentence } from "../words/amount.ts";
import { whenWords } from "../words/clock.ts";
import { callOf } from "../words/told.ts";
import { type Perform, Shelve, TakeOutOfService } from "./putAside.tsx";
import { Told } from "./told.tsx";

/** One alarm: what is wrong, by what signs we know, what to do, and what the keeper can answer. */
export function AlarmEntry(props: { readonly alarm: AlarmView; readonly feeder: FeederView; readonly yard: YardView }) {
  const { alarm, feeder, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const perform: Perform = async (kind, path, words, body) => {
    setBusy(true);
    await act(feeder, { kind, path: path(feeder.id, alarm.fault), words: words.replace("%", alarm.title), body });
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is gone
  };
  const stands = !isSetAside(alarm) && !isOver(alarm);
  return (
    <li class={`alarm ${alarm.priority} ${alarm.phase}`}>
      <Pennant priority={isSetAside(alarm) ? "note" : alarm.priority} />
      <h3 ref={heading} tabIndex={-1}>
        {sentence(alarm.title)}
        <span class="priority">{callWords(alarm)}</span>
      </h3>
      <p class="since">{phaseWords(alarm, now.value, yard.zone)}</p>
      {alarm.outOfService !== null && (
        <p>
          {alarm.outOfService.by} took it out of service: “{alarm.outOfService.why}”
        </p>
      )}
      <p>{alarm.reason}</p>
      {stands && <p class="act">{alarm.act}</p>}
      {isLatched(alarm) && (
        <p class="act">It is over, but may have done harm that nothing here can show: go and look.</p>
      )}
      {!isSetAside(alarm) && <Told call={callOf(yard.calls, feeder.id, alarm.fault)} yard={yard} />}
      <Explained alarm={alarm} feeder={feeder} />
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
        <MainAnswer alarm={alarm} busy={busy} perform={perform} />
        {stands && <Shelve zone={yard.zone} busy={busy} perform={perform} />}
        {stands && yard.role === "keeper" && <TakeOutOfService busy={busy} perform={perform} />}
      </div>
    </li>
  );
}

/** What this one asks for, by the state that it is in: nothing, or one button. */
function MainAnswer(props: { readonly alarm: AlarmView; readonly busy: boolean; readonly perform: Perform }) {
  const { alarm, busy, perform } = props;
  const answer = answerTo(alarm);
  if (answer === null) return null;
  const { label, kind, path, words } = answer;
  const body = (id: string) => (kind === "acknowledge" ? { id, raisedAt: alarm.raisedAt } : { id });
  return (
    <button type="button" disabled={busy} onClick={() => void perform(kind, path, words, body)}>
      {label}
    </button>
  );
}

interface MainAct {
  readonly label: string;
  readonly kind: FeederAct["kind"];
  readonly path: (feeder: string, fault: string) => string;
  readonly words: string;
}

function answerTo({ phase }: AlarmView): MainAct | null {
  const acknowledge = { kind: "acknowledge", path: paths.acknowledge, words: "acknowledge %" } as const;
  switch (phase) {
    case "unacknowledged":
    case "latchedUnacknowledged":
      return { label: "Acknowledge", ...acknowledge };
    case "returnedUnacknowledged":
      return { label: "Seen", ...acknowledge };
    case "latchedAcknowledged":
      return { label: "I have looked", kind: "reset", path: paths.reset, words: "say that somebody looked at it: %" };
    case "outOfService":
      return {
        label: "Back in service",
        kind: "returnToService",
        path: paths.returnToService,
        words: "take % back into service",
      };
    case "acknowledged":
    case "shelved":
    case "suppressedByDesign":
      return null;
  }
}

/** What this one stands for besides itself: told once, and listed here. */
function Explained({ alarm, feeder }: { readonly alarm: AlarmView; readonly feeder: FeederView }) {
  if (alarm.explains.length === 0) return null;
  const known = explainedAlarms(alarm, feeder);
  return (
    <details class="explained">
      <summary>It also explains: {alarm.explains.join(", ")}</summary>
      <ul>
        {alarm.explains.map((title) => {
          const other = known.find((each) => each.title === title);
          return (
            <li key={title}>
              <strong>{sentence(title)}.</strong> {other?.reason}
            </li>
          );
        })}
      </ul>
    </details>
  );
}
