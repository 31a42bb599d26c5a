import { useState } from "preact/hooks";
import * as text from "#text/suppressForms.ts";
import { paths } from "../api/api.ts";
import type { FeederAction } from "../offline/actionQueue.ts";
import { now } from "../state/clock.ts";
import { capitalize } from "../text/amount.ts";
import { localDate, shiftDate, timeText, zonedInstant } from "../text/clock.ts";
import { Field, readText } from "./field.tsx";

/** An action on one alarm. */
export interface AlarmAction {
  readonly kind: FeederAction["kind"];
  readonly path: (feeder: string, fault: string) => string;
  /** What the action is called, of an alarm with this title. */
  readonly text: (alarm: string) => string;
}
export type PerformAction = (action: AlarmAction, body: (id: string) => unknown) => Promise<void>;

interface SuppressProps {
  readonly busy: boolean;
  readonly perform: PerformAction;
}

/** No notifications until a time that is chosen now: shelving always has an end (ISA-18.2). */
export function ShelveForm({ busy, perform, zone }: SuppressProps & { readonly zone: string }) {
  const shelve = (label: string, until: string) =>
    perform({ kind: "shelve", path: paths.shelve, text: (alarm) => text.shelveAction(alarm, label) }, (id) => ({
      id,
      until,
    }));
  return (
    <details class="shelve">
      <summary>{text.shelveSummary}</summary>
      <p class="hint">{text.shelveHint}</p>
      <div class="actions">
        {shelveChoices(now.value, zone).map(({ label, until }) => (
          <button key={label} type="button" disabled={busy} onClick={() => void shelve(label, until)}>
            {capitalize(label)}
          </button>
        ))}
      </div>
    </details>
  );
}

const hourMs = 3_600_000;
function shelveChoices(nowMs: number, zone: string) {
  const morning = zonedInstant(shiftDate(localDate(nowMs, zone), 1), "07:00", zone);
  return [
    { label: text.shelveHourLabel, until: new Date(nowMs + hourMs).toISOString() },
    { label: text.shelveMorningLabel(timeText(morning, zone)), until: morning },
    { label: text.shelveDaysLabel, until: new Date(nowMs + 72 * hourMs).toISOString() },
  ];
}

const takeOutOfService: AlarmAction = {
  kind: "takeOutOfService",
  path: paths.takeOutOfService,
  text: text.outOfServiceAction,
};

/** For a part that is known to be broken for some time. It has no end, so it needs a reason and a name. */
export function OutOfServiceForm({ busy, perform }: SuppressProps) {
  const [problem, setProblem] = useState<string>();
  const submit = (event: SubmitEvent) => {
    event.preventDefault();
    const reason = readText(new FormData(event.currentTarget as HTMLFormElement), "reason");
    setProblem(reason === "" ? text.reasonMissingText : undefined);
    if (reason !== "") void perform(takeOutOfService, (id) => ({ id, reason }));
  };
  return (
    <details class="shelve">
      <summary>{text.outOfServiceSummary}</summary>
      <form onSubmit={submit} noValidate>
        <p class="hint">{text.outOfServiceHint}</p>
        <Field
          label={text.reasonLabel}
          problem={problem}
          input={{ name: "reason", maxLength: 200, autocomplete: "off", placeholder: text.reasonExample }}
        />
        <div class="actions">
          <button type="submit" disabled={busy}>
            {text.outOfServiceLabel}
          </button>
        </div>
      </form>
    </details>
  );
}
