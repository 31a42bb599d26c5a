import { useRef, useState } from "preact/hooks";
import type { AlarmView, FeederView, YardView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { PriorityIcon } from "../charts/icons.tsx";
import type { FeederAction } from "../offline/actionQueue.ts";
import { performOnFeeder } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { alarmBadgeText, alarmStateText, explainedAlarms, isLatched, isOver, isSuppressed } from "../text/alarm.ts";
import { capitalize } from "../text/amount.ts";
import { momentText } from "../text/clock.ts";
import { findEscalation } from "../text/recipients.ts";
import { AlarmRecipients } from "./alarmRecipients.tsx";
import { OutOfServiceForm, type PerformAction, ShelveForm } from "./suppressForms.tsx";

/** One alarm: what is wrong, by what signs we know, what to do, and what the keeper can answer. */
export function AlarmEntry(props: { readonly alarm: AlarmView; readonly feeder: FeederView; readonly yard: YardView }) {
  const { alarm, feeder, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const perform: PerformAction = async (kind, path, words, body) => {
    setBusy(true);
    await performOnFeeder(feeder, {
      kind,
      path: path(feeder.id, alarm.fault),
      text: words.replace("%", alarm.title),
      body,
    });
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is gone
  };
  const stands = !isSuppressed(alarm) && !isOver(alarm);
  return (
    <li class={`alarm ${alarm.priority} ${alarm.state}`}>
      <PriorityIcon priority={isSuppressed(alarm) ? "note" : alarm.priority} />
      <h3 ref={heading} tabIndex={-1}>
        {capitalize(alarm.title)}
        <span class="priority">{alarmBadgeText(alarm)}</span>
      </h3>
      <p class="since">{alarmStateText(alarm, now.value, yard.zone)}</p>
      {alarm.outOfService !== null && (
        <p>
          {alarm.outOfService.by} took it out of service: “{alarm.outOfService.reason}”
        </p>
      )}
      <p>{alarm.reason}</p>
      {stands && <p class="act">{alarm.advice}</p>}
      {isLatched(alarm) && (
        <p class="act">It is over, but may have done harm that nothing here can show: go and look.</p>
      )}
      {!isSuppressed(alarm) && (
        <AlarmRecipients call={findEscalation(yard.escalations, feeder.id, alarm.fault)} yard={yard} />
      )}
      <ExplainedAlarms alarm={alarm} feeder={feeder} />
      {alarm.evidence.length > 0 && (
        <details>
          <summary>How we know</summary>
          <dl class="numbers">
            {alarm.evidence.map((each) => (
              <div key={each.label}>
                <dt>{capitalize(each.label)}</dt>
                <dd>
                  {each.value}
                  {each.at !== null && <small> at {momentText(each.at, now.value, yard.zone)}</small>}
                </dd>
              </div>
            ))}
          </dl>
        </details>
      )}
      <div class="answers">
        <MainAction alarm={alarm} busy={busy} perform={perform} />
        {stands && <ShelveForm zone={yard.zone} busy={busy} perform={perform} />}
        {stands && yard.role === "keeper" && <OutOfServiceForm busy={busy} perform={perform} />}
      </div>
    </li>
  );
}

/** What this one asks for, by the state that it is in: nothing, or one button. */
function MainAction(props: { readonly alarm: AlarmView; readonly busy: boolean; readonly perform: PerformAction }) {
  const { alarm, busy, perform } = props;
  const answer = actionFor(alarm);
  if (answer === null) return null;
  const { label, kind, path, text } = answer;
  const body = (id: string) => (kind === "acknowledge" ? { id, raisedAt: alarm.raisedAt } : { id });
  return (
    <button type="button" disabled={busy} onClick={() => void perform(kind, path, text, body)}>
      {label}
    </button>
  );
}

interface ActionButton {
  readonly label: string;
  readonly kind: FeederAction["kind"];
  readonly path: (feeder: string, fault: string) => string;
  readonly text: string;
}

function actionFor({ state }: AlarmView): ActionButton | null {
  const acknowledge = { kind: "acknowledge", path: paths.acknowledge, text: "acknowledge %" } as const;
  switch (state) {
    case "unacknowledged":
    case "latchedUnacknowledged":
      return { label: "Acknowledge", ...acknowledge };
    case "returnedUnacknowledged":
      return { label: "Seen", ...acknowledge };
    case "latchedAcknowledged":
      return { label: "I have looked", kind: "reset", path: paths.reset, text: "say that somebody looked at it: %" };
    case "outOfService":
      return {
        label: "Back in service",
        kind: "returnToService",
        path: paths.returnToService,
        text: "take % back into service",
      };
    case "acknowledged":
    case "shelved":
    case "suppressedByDesign":
      return null;
  }
}

/** What this one stands for besides itself: told once, and listed here. */
function ExplainedAlarms({ alarm, feeder }: { readonly alarm: AlarmView; readonly feeder: FeederView }) {
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
              <strong>{capitalize(title)}.</strong> {other?.reason}
            </li>
          );
        })}
      </ul>
    </details>
  );
}
