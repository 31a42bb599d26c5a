import { useRef, useState } from "preact/hooks";
import { acknowledgeText } from "#text/actions.ts";
import * as text from "#text/alarmEntry.ts";
import { acknowledgeLabel } from "#text/common.ts";
import { pauseLabel } from "#text/order.ts";
import type { AlarmView, FeederView, YardView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { PriorityIcon } from "../charts/icons.tsx";
import { performOnFeeder } from "../state/actions.ts";
import { isPausing, pauseNow } from "../state/acts.ts";
import { now } from "../state/clock.ts";
import { isLatched, isOver, isSuppressed } from "../text/alarm.ts";
import { capitalize } from "../text/amount.ts";
import { momentText } from "../text/clock.ts";
import { alarmBadgeText, alarmStateText, explainedAlarms } from "../text/feederAlarms.ts";
import { findEscalation } from "../text/recipients.ts";
import { AlarmRecipients } from "./alarmRecipients.tsx";
import { EvidencePicture } from "./evidencePicture.tsx";
import { type AlarmAction, OutOfServiceForm, type PerformAction, ShelveForm } from "./suppressForms.tsx";

/** One alarm: what is wrong, the evidence, what to do, and the actions on it. */
export function AlarmEntry(props: { readonly alarm: AlarmView; readonly feeder: FeederView; readonly yard: YardView }) {
  const { alarm, feeder, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const perform: PerformAction = async ({ kind, path, text }, body) => {
    setBusy(true);
    await performOnFeeder(feeder, { kind, path: path(feeder.id, alarm.fault), text: text(alarm.title), body });
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is gone
  };
  const isActive = !isSuppressed(alarm) && !isOver(alarm);
  return (
    <li class={`alarm ${alarm.priority} ${alarm.state}`}>
      <PriorityIcon priority={isSuppressed(alarm) ? "note" : alarm.priority} />
      <h3 ref={heading} tabIndex={-1}>
        {capitalize(alarm.title)}
        <span class="priority">{alarmBadgeText(alarm)}</span>
      </h3>
      <p class="since">{alarmStateText(alarm, now.value, yard.zone)}</p>
      {alarm.outOfService !== null && <p>{text.outOfServiceText(alarm.outOfService.by, alarm.outOfService.reason)}</p>}
      <p>{alarm.reason}</p>
      {isActive && <p class="advice">{alarm.advice}</p>}
      {isLatched(alarm) && <p class="advice">{text.checkNeededText}</p>}
      <div class="actions">
        {isActive && <Act alarm={alarm} feeder={feeder} mayPause={yard.diseaseNotice === null} />}
        <MainAction alarm={alarm} busy={busy} perform={perform} />
      </div>
      {!isSuppressed(alarm) && (
        <AlarmRecipients escalation={findEscalation(yard.escalations, feeder.id, alarm.fault)} yard={yard} />
      )}
      <ExplainedAlarms alarm={alarm} feeder={feeder} />
      {isActive && drawnFaults.has(alarm.fault) && <EvidencePicture alarm={alarm} feeder={feeder} zone={yard.zone} />}
      <Evidence alarm={alarm} zone={yard.zone} />
      {isActive && <LaterActions yard={yard} busy={busy} perform={perform} />}
    </li>
  );
}

/** What puts it off: until a time, or until it is mended. */
const LaterActions = (props: { readonly yard: YardView; readonly busy: boolean; readonly perform: PerformAction }) => (
  <div class="actions later">
    <ShelveForm zone={props.yard.zone} busy={props.busy} perform={props.perform} />
    {props.yard.role === "keeper" && <OutOfServiceForm busy={props.busy} perform={props.perform} />}
  </div>
);

/** Of these portions, current and weight say something; of the others the reason says all. */
const drawnFaults: ReadonlySet<string> = new Set([
  "motorNotTurning",
  "motorStalled",
  "foodOut",
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "depositUnpaid",
  "paymentUnclear",
  "foodLow",
  "chuteBlind",
]);

/** What the advice asks for, where it can be done from here. */
function Act(props: { readonly alarm: AlarmView; readonly feeder: FeederView; readonly mayPause: boolean }) {
  const { alarm, feeder, mayPause } = props;
  if (alarm.act === "refill")
    return (
      <a class="button main" href={`/feeders/${feeder.id}/refill`}>
        {text.refilledLabel}
      </a>
    );
  if (alarm.act !== "pause" || !mayPause || isPausing(feeder)) return null;
  return (
    <button type="button" class="main" onClick={() => void pauseNow(feeder)}>
      {pauseLabel}
    </button>
  );
}

/** The values behind the alarm, one tap away. */
function Evidence({ alarm, zone }: { readonly alarm: AlarmView; readonly zone: string }) {
  if (alarm.evidence.length === 0) return null;
  return (
    <details>
      <summary>{text.detailsSummary}</summary>
      <dl class="numbers">
        {alarm.evidence.map(({ label, value, at }) => (
          <div key={label}>
            <dt>{capitalize(label)}</dt>
            <dd>
              {value}
              {at !== null && <small> {text.valueTimeText(momentText(at, now.value, zone))}</small>}
            </dd>
          </div>
        ))}
      </dl>
    </details>
  );
}

/** The one button for the state that the alarm is in, or none. */
function MainAction(props: { readonly alarm: AlarmView; readonly busy: boolean; readonly perform: PerformAction }) {
  const { alarm, busy, perform } = props;
  const button = actionButton(alarm);
  if (button === null) return null;
  const { label, action } = button;
  const body = (id: string) => (action.kind === "acknowledge" ? { id, raisedAt: alarm.raisedAt } : { id });
  return (
    <button type="button" disabled={busy} onClick={() => void perform(action, body)}>
      {label}
    </button>
  );
}

const acknowledge: AlarmAction = { kind: "acknowledge", path: paths.acknowledge, text: acknowledgeText };
const reset: AlarmAction = { kind: "reset", path: paths.reset, text: text.checkedAction };
const returnToService: AlarmAction = {
  kind: "returnToService",
  path: paths.returnToService,
  text: text.returnToServiceAction,
};

function actionButton({ state }: AlarmView): { readonly label: string; readonly action: AlarmAction } | null {
  switch (state) {
    case "unacknowledged":
    case "latchedUnacknowledged":
      return { label: acknowledgeLabel, action: acknowledge };
    case "returnedUnacknowledged":
      return { label: text.okLabel, action: acknowledge };
    case "latchedAcknowledged":
      return { label: text.checkedLabel, action: reset };
    case "outOfService":
      return { label: text.returnToServiceLabel, action: returnToService };
    case "acknowledged":
    case "shelved":
    case "suppressedByDesign":
      return null;
  }
}

/** The alarms that this one causes: notified once, and listed here. */
function ExplainedAlarms({ alarm, feeder }: { readonly alarm: AlarmView; readonly feeder: FeederView }) {
  if (alarm.explains.length === 0) return null;
  const known = explainedAlarms(alarm, feeder);
  return (
    <details class="caused">
      <summary>{text.alsoCausedText(alarm.explains.join(", "))}</summary>
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
