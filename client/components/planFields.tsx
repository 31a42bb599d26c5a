import { useState } from "preact/hooks";
import * as forms from "#text/forms.ts";
import * as text from "#text/planScreen.ts";
import type { FeedingRequest } from "../../server/contract/feedingRequest.ts";
import { Choice, Field, NumberField, readNumber, readText, SelectField } from "./field.tsx";

/** The rules of a feeding plan, as fields and back. */

interface PlanFieldsProps {
  readonly rules: FeedingRequest;
  readonly problems: Readonly<Record<string, string>>;
}

/** What a keeper who has no plan begins with: free food that brings the birds, and each act paid. Common practice, no source. */
export const firstRules: FeedingRequest = {
  free: {
    eachGrams: 2,
    schedule: { kind: "variableTime", meanMinutes: 50 },
    afterDawnMinutes: 30,
    beforeDuskMinutes: 60,
  },
  press: { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 2 },
  deposit: { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 0 },
  rationGrams: 30,
  paysDepositsOverRation: true,
  frostFloor: { belowCelsius: -10, grams: 10 },
  quietTimes: [],
};

/** Saved, the rules are a part of the feeder's settings; for a preview they are sent alone. */
const problemAt = (problems: PlanFieldsProps["problems"], field: string): string | undefined =>
  problems[`feeding.${field}`] ?? problems[field];

export const PlanFields = (props: PlanFieldsProps) => (
  <>
    <FreeFields {...props} />
    <EarnedFields {...props} act="press" legend={forms.pressTitle} />
    <EarnedFields {...props} act="deposit" legend={forms.depositTitle} />
    <LimitFields {...props} />
    <QuietFields {...props} />
  </>
);

function FreeFields({ rules, problems }: PlanFieldsProps) {
  const free = rules.free ?? firstRules.free;
  const schedule = free?.schedule;
  const [kind, setKind] = useState(rules.free === null ? "none" : (schedule?.kind ?? "none"));
  const problem = (name: string) => problemAt(problems, `free.${name}`);
  return (
    <fieldset>
      <legend>{text.freeTitle}</legend>
      <p class="hint">{text.freeHint}</p>
      <SelectField
        label={text.scheduleLabel}
        choices={[
          { value: "variableTime", label: forms.variableChoice },
          { value: "jitter", label: forms.jitterChoice },
          { value: "none", label: forms.noFreeChoice },
        ]}
        select={{ name: "schedule", value: kind, onChange: (event) => setKind(event.currentTarget.value) }}
      />
      {kind !== "none" && <FreeAmounts schedule={kind} free={free} problem={problem} />}
    </fieldset>
  );
}

function FreeAmounts(props: {
  readonly schedule: string;
  readonly free: FeedingRequest["free"];
  readonly problem: (name: string) => string | undefined;
}) {
  const { schedule: kind, free, problem } = props;
  const schedule = free?.schedule;
  return (
    <>
      <NumberField
        {...{ name: "meanMinutes", label: forms.meanLabel, unit: forms.minutesUnit, min: 10, max: 600 }}
        problem={problem("schedule.meanMinutes")}
        value={schedule?.meanMinutes}
      />
      {kind === "jitter" && (
        <NumberField
          {...{ name: "byMinutes", label: forms.byLabel, unit: forms.minutesUnit, min: 0, max: 300 }}
          problem={problem("schedule.byMinutes")}
          value={schedule?.kind === "jitter" ? schedule.byMinutes : 15}
        />
      )}
      <NumberField
        {...{ name: "eachGrams", label: text.eachLabel, unit: text.gramsUnit, min: 0.1, max: 50 }}
        problem={problem("eachGrams")}
        value={free?.eachGrams}
      />
      <NumberField
        {...{ name: "afterDawnMinutes", label: text.afterDawnLabel, unit: forms.minutesUnit, min: 0, max: 240 }}
        problem={problem("afterDawnMinutes")}
        value={free?.afterDawnMinutes}
      />
      <NumberField
        {...{ name: "beforeDuskMinutes", label: text.beforeDuskLabel, unit: forms.minutesUnit, min: 0, max: 240 }}
        problem={problem("beforeDuskMinutes")}
        value={free?.beforeDuskMinutes}
      />
    </>
  );
}

const earnsOf = (earned: FeedingRequest["press"]) =>
  earned === null ? "none" : earned.ratio.kind === "fixed" && earned.ratio.of === 1 ? "each" : earned.ratio.kind;

function EarnedFields(props: PlanFieldsProps & { readonly act: "press" | "deposit"; readonly legend: string }) {
  const { rules, problems, act, legend } = props;
  const earned = rules[act];
  const problem = (name: string) => problemAt(problems, `${act}.${name}`);
  const [earns, setEarns] = useState(earnsOf(earned));
  return (
    <fieldset>
      <legend>{legend}</legend>
      <SelectField
        label={text.earnsLabel}
        choices={[
          { value: "each", label: forms.eachChoice },
          { value: "fixed", label: forms.fixedChoice },
          { value: "variable", label: forms.variableRatioChoice },
          { value: "none", label: forms.nothingChoice },
        ]}
        select={{
          name: `${act}.earns`,
          value: earns,
          onChange: (event) => setEarns(event.currentTarget.value as typeof earns),
        }}
      />
      {(earns === "fixed" || earns === "variable") && (
        <NumberField
          {...{ name: `${act}.of`, label: forms.ofLabel, unit: "", min: 1, max: 20, whole: true }}
          problem={problem("ratio.of")}
          value={earned?.ratio.of ?? 2}
        />
      )}
      {earns !== "none" && (
        <NumberField
          {...{ name: `${act}.between`, label: forms.betweenLabel, unit: forms.secondsUnit, min: 0, max: 3_600 }}
          problem={problem("atLeastSecondsBetween")}
          value={earned?.atLeastSecondsBetween ?? 0}
        />
      )}
    </fieldset>
  );
}

function LimitFields({ rules, problems }: PlanFieldsProps) {
  const problem = (name: string) => problemAt(problems, name);
  return (
    <fieldset>
      <legend>{text.limitsTitle}</legend>
      <NumberField
        {...{
          name: "rationGrams",
          label: text.rationLabel,
          hint: text.rationHint,
          unit: text.gramsUnit,
          min: 1,
          max: 5_000,
        }}
        problem={problem("rationGrams")}
        value={rules.rationGrams}
      />
      <Choice
        label={text.overRationLabel}
        hint={text.overRationHint}
        type="checkbox"
        input={{ name: "paysDepositsOverRation", defaultChecked: rules.paysDepositsOverRation }}
      />
      <FrostFields rules={rules} problems={problems} />
    </fieldset>
  );
}

function FrostFields({ rules, problems }: PlanFieldsProps) {
  const frost = rules.frostFloor ?? firstRules.frostFloor;
  const [hasFloor, setHasFloor] = useState(rules.frostFloor !== null);
  const problem = (name: string) => problemAt(problems, `frostFloor.${name}`);
  return (
    <>
      <Choice
        label={text.frostLabel}
        hint={text.frostHint}
        type="checkbox"
        input={{
          name: "hasFrostFloor",
          checked: hasFloor,
          onChange: (event) => setHasFloor(event.currentTarget.checked),
        }}
      />
      {hasFloor && (
        <>
          <NumberField
            {...{ name: "belowCelsius", label: text.belowLabel, unit: text.celsiusUnit, min: -50, max: 5 }}
            problem={problem("belowCelsius")}
            value={frost?.belowCelsius}
          />
          <NumberField
            {...{ name: "frostGrams", label: text.frostGramsLabel, unit: text.gramsUnit, min: 0.1, max: 500 }}
            problem={problem("grams")}
            value={frost?.grams}
          />
        </>
      )}
    </>
  );
}

const quietTimesShown = 2;

function QuietFields({ rules, problems }: PlanFieldsProps) {
  const shown = Math.max(quietTimesShown, rules.quietTimes.length);
  return (
    <fieldset>
      <legend>{text.quietTitle}</legend>
      <p class="hint">{text.quietHint}</p>
      {Array.from({ length: shown }, (_, index) => (
        <div key={index} class="field-pair">
          {(["from", "to"] as const).map((end) => (
            <Field
              key={end}
              label={(end === "from" ? text.fromLabel : text.toLabel)(index + 1)}
              problem={problemAt(problems, `quietTimes.${index}.${end}`)}
              input={{
                name: `quiet.${index}.${end}`,
                type: "time",
                defaultValue: rules.quietTimes[index]?.[end] ?? "",
              }}
            />
          ))}
        </div>
      ))}
    </fieldset>
  );
}

// --- and back ------------------------------------------------------------------------------------------------------

/** What no field shows stays as it is. The server names what is wrong with the rest. */
export function readPlanFields(
  form: HTMLFormElement,
  { seed, taper }: Pick<FeedingRequest, "seed" | "taper">,
): FeedingRequest {
  const data = new FormData(form);
  const number = (name: string) => readNumber(data, name) as number;
  return {
    ...(seed === undefined ? {} : { seed }),
    ...(taper === undefined ? {} : { taper }),
    free: readFree(data),
    press: readEarned(data, "press"),
    deposit: readEarned(data, "deposit"),
    rationGrams: number("rationGrams"),
    paysDepositsOverRation: data.has("paysDepositsOverRation"),
    frostFloor: data.has("hasFrostFloor")
      ? { belowCelsius: number("belowCelsius"), grams: number("frostGrams") }
      : null,
    quietTimes: readQuietTimes(data),
  };
}

function readFree(data: FormData): FeedingRequest["free"] {
  const kind = readText(data, "schedule");
  if (kind === "none") return null;
  const number = (name: string) => readNumber(data, name) as number;
  const meanMinutes = number("meanMinutes");
  return {
    eachGrams: number("eachGrams"),
    schedule:
      kind === "jitter"
        ? { kind: "jitter", meanMinutes, byMinutes: number("byMinutes") }
        : { kind: "variableTime", meanMinutes },
    afterDawnMinutes: number("afterDawnMinutes"),
    beforeDuskMinutes: number("beforeDuskMinutes"),
  };
}

function readEarned(data: FormData, act: "press" | "deposit"): FeedingRequest["press"] {
  const earns = readText(data, `${act}.earns`);
  if (earns === "none") return null;
  const of = earns === "each" ? 1 : (readNumber(data, `${act}.of`) as number);
  return {
    ratio: { kind: earns === "variable" ? "variable" : "fixed", of },
    atLeastSecondsBetween: readNumber(data, `${act}.between`) as number,
  };
}

function readQuietTimes(data: FormData): FeedingRequest["quietTimes"] {
  const times: { from: string; to: string }[] = [];
  for (let index = 0; data.has(`quiet.${index}.from`); index += 1) {
    const time = { from: readText(data, `quiet.${index}.from`), to: readText(data, `quiet.${index}.to`) };
    if (time.from !== "" || time.to !== "") times.push(time);
  }
  return times;
}
