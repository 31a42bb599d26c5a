import type { ComponentChildren, InputHTMLAttributes, SelectHTMLAttributes, TextareaHTMLAttributes } from "preact";
import { useId, useRef, useState } from "preact/hooks";
import { unreachableText } from "#text/common.ts";
import { signedOutText } from "#text/field.ts";
import type { ProblemView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { signedIn, updateConnectionState } from "../state/home.ts";
import { countSending } from "../state/unsaved.ts";
import { toSentence } from "../text/amount.ts";
import { problemText } from "../text/fieldProblem.ts";

type FieldErrors = Readonly<Record<string, string>>;

interface FieldText {
  readonly label: string;
  readonly hint?: ComponentChildren;
  readonly problem?: string | undefined;
}

/** Connects an input with its label, its hint and its problem, for screen readers. */
interface InputAttributes {
  readonly id: string;
  readonly "aria-describedby"?: string;
  readonly "aria-invalid"?: true;
}

/** One input with its label, its hint and, where it was refused, the reason. */
function LabelledInput({
  label,
  hint,
  problem,
  renderInput,
}: FieldText & { readonly renderInput: (attributes: InputAttributes) => ComponentChildren }) {
  const id = useId();
  const described = [hint && `${id}-hint`, problem && `${id}-problem`].filter(Boolean).join(" ");
  const attributes: InputAttributes = {
    id,
    ...(described === "" ? {} : { "aria-describedby": described }),
    ...(problem ? { "aria-invalid": true } : {}),
  };
  return (
    <div class="field">
      <label for={id}>{label}</label>
      {hint && (
        <p class="hint" id={`${id}-hint`}>
          {hint}
        </p>
      )}
      <span class="input-row">{renderInput(attributes)}</span>
      {problem && (
        <p class="problem" id={`${id}-problem`}>
          {label}: {problem}
        </p>
      )}
    </div>
  );
}

/** A text input. */
export function Field({
  unit,
  input,
  ...question
}: FieldText & { readonly unit?: string; readonly input: InputHTMLAttributes<HTMLInputElement> }) {
  return (
    <LabelledInput
      {...question}
      renderInput={(attributes) => (
        <>
          <input {...input} {...attributes} />
          {unit && <span class="unit">{unit}</span>}
        </>
      )}
    />
  );
}

/** A text of several lines. */
export const TextAreaField = ({
  area,
  ...question
}: FieldText & { readonly area: TextareaHTMLAttributes<HTMLTextAreaElement> }) => (
  <LabelledInput {...question} renderInput={(attributes) => <textarea {...area} {...attributes} />} />
);

/** A list to choose from. */
export function SelectField({
  choices,
  select,
  ...question
}: FieldText & {
  readonly choices: readonly { readonly value: string; readonly label: string }[];
  readonly select: SelectHTMLAttributes<HTMLSelectElement>;
}) {
  return (
    <LabelledInput
      {...question}
      renderInput={(attributes) => (
        <select {...select} {...attributes}>
          {choices.map(({ value, label }) => (
            <option key={value} value={value} selected={value === select.value}>
              {label}
            </option>
          ))}
        </select>
      )}
    />
  );
}

/** Inputs that belong together; where the whole was refused, the reason. */
export function FieldGroup(props: {
  readonly legend: string;
  readonly hint?: ComponentChildren;
  readonly problem?: string | undefined;
  readonly children: ComponentChildren;
}) {
  const id = useId();
  const described = [props.hint && `${id}-hint`, props.problem && `${id}-problem`].filter(Boolean).join(" ");
  return (
    <fieldset {...(described === "" ? {} : { "aria-describedby": described })}>
      <legend>{props.legend}</legend>
      {props.hint && (
        <p class="hint" id={`${id}-hint`}>
          {props.hint}
        </p>
      )}
      {props.problem && (
        <p class="problem" id={`${id}-problem`}>
          {props.legend}: {props.problem}
        </p>
      )}
      {props.children}
    </fieldset>
  );
}

export function Choice(props: {
  readonly label: string;
  readonly hint?: string;
  readonly type: "checkbox" | "radio";
  readonly input: InputHTMLAttributes<HTMLInputElement>;
}) {
  const id = useId();
  return (
    <div class="choice">
      <input
        {...(props.input as object)}
        type={props.type}
        id={id}
        {...(props.hint ? { "aria-describedby": `${id}-hint` } : {})}
      />
      <label for={id}>{props.label}</label>
      {props.hint && (
        <p class="hint" id={`${id}-hint`}>
          {props.hint}
        </p>
      )}
    </div>
  );
}

/** A number input with its unit. */
export function NumberField(props: {
  readonly name: string;
  readonly label: string;
  readonly hint?: ComponentChildren;
  readonly problem: string | undefined;
  readonly unit: string;
  readonly min: number;
  readonly max: number;
  readonly whole?: boolean;
  readonly value: number | undefined;
  readonly onInput?: (text: string) => void;
}) {
  const { name, label, hint, problem, unit, min, max, whole = false, value, onInput } = props;
  const kind = whole ? ({ inputMode: "numeric", step: 1 } as const) : ({ inputMode: "decimal", step: "any" } as const);
  const input = {
    ...({ name, type: "number", min, max, ...kind, defaultValue: value ?? "" } as const),
    ...(onInput && { onInput: (event: { currentTarget: HTMLInputElement }) => onInput(event.currentTarget.value) }),
  };
  return <Field label={label} hint={hint} problem={problem} unit={unit} input={input} />;
}

/** Sends a form and holds what came of it: `problems` by field, and `formError`, the problem of the form as a whole. */
export function useFormSubmit() {
  const [sending, setSending] = useState(false);
  const [problems, setProblems] = useState<FieldErrors>({});
  const [formError, setFormError] = useState<string | null>(null);
  const form = useRef<HTMLFormElement>(null);

  const refuse = (problem: ProblemView) => {
    setProblems(Object.fromEntries((problem.errors ?? []).map((each) => [each.field, problemText(each.problem)])));
    // The first wrong field takes the focus once it is marked. A problem of no field here is shown above the form.
    requestAnimationFrame(() => {
      const wrong = form.current?.querySelector<HTMLElement>("[aria-invalid=true]");
      if (wrong) wrong.focus();
      else setFormError(problem.detail || problem.title);
    });
  };

  const send = async <T,>(request: () => Promise<ApiResult<T>>): Promise<T | null> => {
    if (sending) return null;
    setSending(true);
    setFormError(null);
    setProblems({});
    const result = await countSending(request);
    const wasSignedIn = signedIn.value !== "no";
    updateConnectionState(result);
    setSending(false);
    if (result.kind === "ok") return result.value;
    if (result.kind === "signedOut" && wasSignedIn) setFormError(signedOutText);
    else if (result.kind === "unreachable") setFormError(unreachableText);
    else refuse(result.problem);
    return null;
  };
  return { sending, problems, formError, form, send };
}

/** The problem of the form as a whole; a screen reader reads it out at once. */
export const FormError = (props: { readonly text: string | null }) => (
  <p class="form-error" role="alert">
    {props.text === null ? null : toSentence(props.text)}
  </p>
);

export const readNumber = (data: FormData, name: string) => parseNumber(String(data.get(name) ?? ""));
export const parseNumber = (text: string) => {
  const bare = text.trim().replace(",", ".");
  return bare === "" ? undefined : Number(bare);
};
export const readText = (data: FormData, name: string) => String(data.get(name) ?? "").trim();
