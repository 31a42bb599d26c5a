import { useState } from "preact/hooks";
import * as forms from "#text/forms.ts";
import * as text from "#text/programmeScreen.ts";
import { kindNames } from "#text/stages.ts";
import type { EarnedFoodView, StageView } from "../../server/contract/trainingView.ts";
import { percentProblem } from "../text/percentProblem.ts";
import { Field, NumberField, SelectField } from "./field.tsx";
import { ParameterFields } from "./shapingForm.tsx";

/** One stage of a programme as fields; `readStage` (readStage.ts) is the way back. Names begin with the stage's id. */

export interface StageFieldsProps {
  readonly stage: StageView;
  readonly problemOf: (field: string) => string | undefined;
}

export const StageFields = (props: StageFieldsProps) => {
  const { stage, problemOf } = props;
  return (
    <>
      <Field
        label={text.nameLabel}
        problem={problemOf("name")}
        input={{
          name: `${stage.id}.name`,
          type: "text",
          maxLength: 60,
          autocomplete: "off",
          defaultValue: stage.name,
        }}
      />
      <KindField {...props} />
      <fieldset>
        <legend>{text.earnsTitle}</legend>
        <FreeFields {...props} />
        <EarnedFields {...props} act="press" label={forms.pressTitle} />
        <EarnedFields {...props} act="deposit" label={forms.depositTitle} />
      </fieldset>
      <fieldset>
        <legend>{text.shapedTitle}</legend>
        <ParameterFields
          parameters={stage.parameters}
          prefix={`${stage.id}.`}
          problemOf={(field) => problemOf(`parameters.${field}`)}
        />
      </fieldset>
      <CriterionFields {...props} />
    </>
  );
};

function KindField({ stage, problemOf }: StageFieldsProps) {
  const [kind, setKind] = useState<string>(stage.kind);
  return (
    <SelectField
      label={text.kindLabel}
      hint={text.kindHint}
      problem={problemOf("kind")}
      choices={Object.entries(kindNames).map(([value, label]) => ({ value, label }))}
      select={{ name: `${stage.id}.kind`, value: kind, onChange: ({ currentTarget }) => setKind(currentTarget.value) }}
    />
  );
}

function FreeFields({ stage, problemOf }: StageFieldsProps) {
  const { free } = stage.earns;
  const [kind, setKind] = useState<string>(free?.kind ?? "none");
  const name = (field: string) => `${stage.id}.free.${field}`;
  return (
    <>
      <SelectField
        label={text.freeLabel}
        choices={[
          { value: "variableTime", label: forms.variableChoice },
          { value: "jitter", label: forms.jitterChoice },
          { value: "none", label: forms.noFreeChoice },
        ]}
        select={{ name: name("kind"), value: kind, onChange: ({ currentTarget }) => setKind(currentTarget.value) }}
      />
      {kind !== "none" && (
        <NumberField
          {...{ name: name("meanMinutes"), label: forms.meanLabel, unit: forms.minutesUnit, min: 10, max: 600 }}
          problem={problemOf("earns.free.meanMinutes")}
          value={free?.meanMinutes ?? usualMinutes}
        />
      )}
      {kind === "jitter" && (
        <NumberField
          {...{ name: name("byMinutes"), label: forms.byLabel, unit: forms.minutesUnit, min: 0, max: 300 }}
          problem={problemOf("earns.free.byMinutes")}
          value={free?.kind === "jitter" ? free.byMinutes : 15}
        />
      )}
    </>
  );
}
const usualMinutes = 120;

/** What the fields begin with where an act earned nothing so far. */
const usualEarned: EarnedFoodView = { ratio: { kind: "fixed", of: 2 }, atLeastSecondsBetween: 2 };
const earnsOf = (earned: EarnedFoodView | null) =>
  earned === null ? "none" : earned.ratio.kind === "fixed" && earned.ratio.of === 1 ? "each" : earned.ratio.kind;

function EarnedFields(props: StageFieldsProps & { readonly act: "press" | "deposit"; readonly label: string }) {
  const { stage, problemOf, act, label } = props;
  const earned = stage.earns[act] ?? usualEarned;
  const [earns, setEarns] = useState<string>(earnsOf(stage.earns[act]));
  const name = (field: string) => `${stage.id}.${act}.${field}`;
  return (
    <>
      <SelectField
        label={label}
        choices={[
          { value: "each", label: forms.eachChoice },
          { value: "fixed", label: forms.fixedChoice },
          { value: "variable", label: forms.variableRatioChoice },
          { value: "none", label: forms.nothingChoice },
        ]}
        select={{ name: name("earns"), value: earns, onChange: ({ currentTarget }) => setEarns(currentTarget.value) }}
      />
      {(earns === "fixed" || earns === "variable") && (
        <NumberField
          {...{ name: name("of"), label: forms.ofLabel, unit: "", min: 1, max: 20, whole: true }}
          problem={problemOf(`earns.${act}.ratio.of`)}
          value={Math.max(2, earned.ratio.of)}
        />
      )}
      {earns !== "none" && (
        <NumberField
          {...{ name: name("between"), label: forms.betweenLabel, unit: forms.secondsUnit, min: 0, max: 3_600 }}
          problem={problemOf(`earns.${act}.atLeastSecondsBetween`)}
          value={earned.atLeastSecondsBetween}
        />
      )}
    </>
  );
}

function CriterionFields({ stage, problemOf }: StageFieldsProps) {
  const { id, criterion, stepBack, usualDays } = stage;
  const percent = (field: string, share: number) => ({
    ...{ name: `${id}.${field}`, unit: text.percentUnit, min: 1, max: 99 },
    problem: percentProblem(problemOf(field)),
    value: Math.round(1000 * share) / 10,
  });
  const whole = (field: string, value: number, max: number) => ({
    ...{ name: `${id}.${field}`, min: 0, max, value, whole: true, problem: problemOf(field) },
  });
  return (
    <fieldset>
      <legend>{text.criterionTitle}</legend>
      <NumberField {...percent("criterion.share", criterion.share)} label={text.shareLabel} />
      <NumberField
        {...percent("criterion.chanceShare", criterion.chanceShare)}
        label={text.chanceLabel}
        hint={text.chanceHint}
      />
      <NumberField
        {...whole("criterion.actsADay", criterion.actsADay, 500)}
        label={text.actsLabel}
        unit={text.actsUnit}
      />
      <NumberField {...whole("criterion.days", criterion.days, 14)} label={text.daysLabel} unit={text.daysUnit} />
      <NumberField {...percent("stepBack.share", stepBack.share)} label={text.stepBackLabel} />
      <div class="field-pair">
        <NumberField
          {...whole("usualDays.from", usualDays.from, 120)}
          label={text.usualFromLabel}
          unit={text.daysUnit}
        />
        <NumberField {...whole("usualDays.to", usualDays.to, 180)} label={text.usualToLabel} unit={text.daysUnit} />
      </div>
    </fieldset>
  );
}
