import { useEffect, useId, useRef, useState } from "preact/hooks";
import { cancelLabel } from "#text/common.ts";
import { signedOutText } from "#text/field.ts";
import * as text from "#text/settingsComparison.ts";
import type {
  AlarmRingsView,
  ComparedAlarmView,
  ProblemView,
  RingCountsView,
  RingView,
  SettingsComparisonView,
} from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { now } from "../state/clock.ts";
import { connectionState, updateConnectionState } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { momentText } from "../text/clock.ts";
import { problemText } from "../text/fieldProblem.ts";
import { numberText } from "../text/format.ts";

/** What the last days would have brought with the settings that are entered, before they are saved. */

type Change = Parameters<typeof laterApi.compareSettings>[1];

type ComparisonState =
  | { readonly kind: "none" | "running" }
  | { readonly kind: "compared"; readonly view: SettingsComparisonView }
  | { readonly kind: "failed"; readonly text: string; readonly problems?: Readonly<Record<string, string>> };

/** Longer than the server works on one. */
const timeLimitMs = 75_000;

export function useComparison(feeder: string) {
  const [state, setState] = useState<ComparisonState>({ kind: "none" });
  const running = useRef<AbortController | null>(null);
  const abort = () => {
    running.current?.abort();
    running.current = null;
  };
  useEffect(() => abort, [feeder]); // the server stops when the screen is left
  const start = async (change: Change) => {
    abort();
    if (Object.keys(change).length === 0) return setState({ kind: "failed", text: text.nothingChangedText });
    const own = new AbortController();
    running.current = own;
    setState({ kind: "running" });
    const tooLong = setTimeout(() => own.abort(), timeLimitMs);
    const result = await laterApi.compareSettings(feeder, change, own.signal);
    clearTimeout(tooLong);
    if (running.current !== own) return; // it was cancelled, and another one may run
    running.current = null;
    updateConnectionState(result);
    setState(stateAfter(result));
  };
  return {
    state,
    problems: state.kind === "failed" ? (state.problems ?? {}) : {},
    start: (change: Change) => void start(change),
    cancel() {
      abort();
      setState({ kind: "none" });
    },
  };
}

type Comparison = ReturnType<typeof useComparison>;

function stateAfter(result: ApiResult<SettingsComparisonView>): ComparisonState {
  switch (result.kind) {
    case "ok":
      return { kind: "compared", view: result.value };
    case "signedOut":
      return { kind: "failed", text: signedOutText };
    case "unreachable":
      return { kind: "failed", text: text.unreachableText };
    case "problem":
      return refusal(result.problem);
  }
}

/** A refused setting is marked beside its field. */
function refusal({ errors = [], detail, title }: ProblemView): ComparisonState {
  if (errors.length === 0) return { kind: "failed", text: detail || title };
  const problems = errors.map(({ field, problem }) => [field.replace(/^settings\./, ""), problemText(problem)]);
  return { kind: "failed", text: text.wrongFieldsText, problems: Object.fromEntries(problems) };
}

export function CompareButton(props: { readonly comparison: Comparison; readonly onStart: () => void }) {
  const { state, cancel } = props.comparison;
  if (state.kind === "running") {
    return (
      <button type="button" onClick={cancel}>
        {cancelLabel}
      </button>
    );
  }
  return (
    <button type="button" disabled={connectionState.value === "offline"} onClick={props.onStart}>
      {text.compareLabel}
    </button>
  );
}

export function SettingsComparison({ comparison, zone }: { readonly comparison: Comparison; readonly zone: string }) {
  const { state } = comparison;
  const id = useId();
  return (
    <section class="comparison" aria-label={text.title}>
      {connectionState.value === "offline" && <p class="hint">{text.offlineText}</p>}
      <p class="form-error" role="alert">
        {state.kind === "failed" ? state.text : null}
      </p>
      <div role="status">
        {state.kind === "running" && (
          <>
            <p id={id}>{text.runningText}</p>
            <progress aria-labelledby={id} />
          </>
        )}
        {state.kind === "compared" && <p class="comparison-summary">{summaryOf(state.view)}</p>}
      </div>
      {state.kind === "compared" && <ComparisonDetails view={state.view} zone={zone} />}
    </section>
  );
}

const pushCount = ({ urgent, soon }: RingCountsView) => urgent + soon;
const dayMs = 86_400_000;

function summaryOf({ from, to, present, proposed, onlyPresent, onlyProposed }: SettingsComparisonView): string {
  const days = Math.max(1, Math.round((Date.parse(to) - Date.parse(from)) / dayMs));
  const isSame = onlyPresent.length === 0 && onlyProposed.length === 0;
  return isSame && pushCount(present) === pushCount(proposed)
    ? text.sameText(days, pushCount(proposed))
    : text.summaryText(days, pushCount(proposed), pushCount(present));
}

interface DetailProps {
  readonly view: SettingsComparisonView;
  readonly zone: string;
}

const ComparisonDetails = ({ view, zone }: DetailProps) => (
  <>
    {view.alarms.length > 0 && <AlarmTable alarms={view.alarms} />}
    <RingList title={text.onlyProposedTitle} rings={view.onlyProposed} zone={zone} />
    <RingList title={text.onlyPresentTitle} rings={view.onlyPresent} zone={zone} />
    {view.leftOut > 0 && <p class="hint">{text.leftOutText(view.leftOut)}</p>}
    {doubtsOf(view, zone).map((doubt) => (
      <p key={doubt}>{doubt}</p>
    ))}
    <p class="hint">{text.methodText}</p>
  </>
);

const AlarmTable = ({ alarms }: { readonly alarms: readonly ComparedAlarmView[] }) => (
  <table>
    <caption>{text.tableCaption}</caption>
    <thead>
      <tr>
        <th scope="col">{text.alarmHead}</th>
        <th scope="col">{text.presentHead}</th>
        <th scope="col">{text.proposedHead}</th>
      </tr>
    </thead>
    <tbody>
      {alarms.map(({ fault, title, priority, present, proposed }) => (
        <tr key={fault}>
          <th scope="row">
            {priority === "note" ? text.noteName(capitalize(title)) : capitalize(title)}
            {priority === "urgent" && <small>{text.urgentText}</small>}
          </th>
          <Count side={present} />
          <Count side={proposed} />
        </tr>
      ))}
    </tbody>
  </table>
);

const Count = ({ side }: { readonly side: AlarmRingsView }) => (
  <td>
    {pushCount(side) + side.note} <small>{text.hoursText(numberText(side.hoursInForce, 1))}</small>
  </td>
);

function RingList(props: {
  readonly title: (count: number) => string;
  readonly rings: readonly RingView[];
  readonly zone: string;
}) {
  const { title, rings, zone } = props;
  if (rings.length === 0) return null;
  return (
    <details>
      <summary>{title(rings.length)}</summary>
      <ul>
        {rings.map(({ fault, at, title: alarm, priority }) => (
          <li key={`${fault} ${at} ${priority}`}>
            {text.ringText(momentText(at, now.value, zone), priority === "note" ? text.noteName(alarm) : alarm)}
          </li>
        ))}
      </ul>
    </details>
  );
}

/** Why the counts may be less than what was asked for. */
function doubtsOf({ from, requestedFrom, readingsDroppedUntil, ...view }: SettingsComparisonView, zone: string) {
  const moment = (at: string) => momentText(at, now.value, zone);
  const isLater = Date.parse(from) > Date.parse(requestedFrom);
  const startText = readingsDroppedUntil === from ? text.droppedText : text.laterStartText;
  return [
    ...(isLater ? [startText(moment(from))] : []),
    ...(view.begun === "middle" ? [text.learningText(moment(view.replayedFrom))] : []),
    ...(view.isIncomplete ? [text.incompleteText] : []),
  ];
}
