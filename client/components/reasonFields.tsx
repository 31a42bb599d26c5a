import { useRef } from "preact/hooks";
import * as text from "#text/trainingScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { ProgrammeChangeRequest } from "../../server/contract/trainingRequest.ts";
import { laterApi } from "../api/laterApi.ts";
import { newId } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { acceptTraining } from "../state/training.ts";
import { localDate, zonedInstant } from "../text/clock.ts";
import { Field, readText, useFormSubmit } from "./field.tsx";

/** Why a programme was changed, and when: a few reasons to tap, and a field. */

interface ReasonProps {
  readonly ready: readonly string[];
  readonly problems: Readonly<Record<string, string>>;
  readonly zone: string;
}

export const ReasonFields = ({ ready, problems, zone }: ReasonProps) => (
  <>
    <Field
      label={text.reasonLabel}
      hint={text.reasonHint}
      problem={problems.reason}
      input={{ name: "reason", type: "text", maxLength: 500, autocomplete: "off" }}
    />
    {/* biome-ignore lint/a11y/useSemanticElements: a fieldset would ask for a value of its own */}
    <div class="ready-reasons" role="group" aria-label={text.readyReasonsLabel}>
      {ready.map((reason) => (
        <button key={reason} type="button" onClick={({ currentTarget }) => fillReason(currentTarget, reason)}>
          {reason}
        </button>
      ))}
    </div>
    <details open={problems.at !== undefined || undefined}>
      <summary>{text.earlierSummary}</summary>
      <p class="hint">{text.earlierHint}</p>
      <div class="field-pair">
        <Field
          label={text.dateLabel}
          problem={problems.at}
          input={{ name: "date", type: "date", max: localDate(now.value, zone) }}
        />
        <Field label={text.timeLabel} input={{ name: "time", type: "time" }} />
      </div>
    </details>
  </>
);

/** As if it had been typed, so that the form counts as changed. */
function fillReason(button: HTMLButtonElement, reason: string): void {
  const input = button.form?.querySelector<HTMLInputElement>("[name=reason]");
  if (input == null) return;
  input.value = reason;
  input.dispatchEvent(new Event("input", { bubbles: true }));
}

/** A time alone is of today, a date alone of its noon. */
function readMoment(data: FormData, zone: string): { readonly at?: string } {
  const [date, time] = [readText(data, "date"), readText(data, "time")];
  if (date === "" && time === "") return {};
  return { at: zonedInstant(date || localDate(now.value, zone), time || "12:00", zone) };
}

/** Sends a change of the programme with its reason, and shows what the server answers. */
export function useProgrammeChange(yard: YardView) {
  const submit = useFormSubmit();
  const id = useRef(newId()); // the same for a second try after a lost answer; another one for the next change
  const change = async (content: ProgrammeChangeRequest["content"]): Promise<boolean> => {
    const data = new FormData(submit.form.current as HTMLFormElement);
    const request = { id: id.current, reason: readText(data, "reason"), ...readMoment(data, yard.zone), content };
    const saved = await submit.send(() => laterApi.changeProgramme(yard.id, request));
    if (saved === null) return false;
    id.current = newId();
    acceptTraining(saved);
    return true;
  };
  return { ...submit, change };
}
