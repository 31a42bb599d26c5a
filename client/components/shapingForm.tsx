import { saveLabel } from "#text/common.ts";
import * as text from "#text/trainingScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { StageParametersView, StageView } from "../../server/contract/trainingView.ts";
import { announce } from "../state/announcement.ts";
import { parametersText, usesCaps } from "../text/stages.ts";
import { Field, FormError, NumberField, readNumber, readText } from "./field.tsx";
import { ReasonFields, useProgrammeChange } from "./reasonFields.tsx";
import { TrainingCautions } from "./trainingCautions.tsx";

/** What the keeper shapes in the present stage: as it is, and a form of its own, since it is changed most. */
export const Shaping = (props: { readonly stage: StageView; readonly yard: YardView }) => (
  <section aria-labelledby="shaping-title">
    <h2 id="shaping-title">{text.shapingTitle}</h2>
    <p>{parametersText(props.stage.parameters) ?? text.nothingShapedText}</p>
    {props.yard.role === "keeper" && (
      <details>
        <summary>{text.shapingSummary}</summary>
        <ShapingForm key={props.stage.id} {...props} />
      </details>
    )}
  </section>
);

function ShapingForm({ stage, yard }: { readonly stage: StageView; readonly yard: YardView }) {
  const { sending, problems, formError, form, change } = useProgrammeChange(yard);
  const save = async (event: SubmitEvent) => {
    event.preventDefault();
    const entered = event.currentTarget as HTMLFormElement;
    const parameters = readParameters(new FormData(entered), "");
    if (!(await change({ kind: "parametersChanged", stage: stage.id, parameters }))) return;
    entered.reset();
    announce(text.shapedText);
  };
  return (
    <form ref={form} onSubmit={(event) => void save(event)} noValidate>
      <p class="hint">{text.shapingHint}</p>
      <FormError text={formError ?? problems["content.stage"] ?? null} />
      <ParameterFields
        parameters={stage.parameters}
        prefix=""
        problemOf={(field) => problems[`content.parameters.${field}`]}
      />
      <ReasonFields ready={text.shapingReasons} problems={problems} zone={yard.zone} />
      {usesCaps(stage) && <TrainingCautions stage={stage} />}
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {saveLabel}
        </button>
      </div>
    </form>
  );
}

interface ParameterFieldsProps {
  readonly parameters: StageParametersView;
  readonly prefix: string;
  readonly problemOf: (field: keyof StageParametersView) => string | undefined;
}

export function ParameterFields(props: ParameterFieldsProps) {
  const { parameters, prefix, problemOf } = props;
  const number = (name: Exclude<keyof StageParametersView, "capsWhere">) => ({
    name: `${prefix}${name}`,
    problem: problemOf(name),
    value: parameters[name] ?? undefined,
  });
  return (
    <>
      <NumberField
        {...number("distanceCm")}
        {...{ label: text.distanceLabel, hint: text.distanceHint, unit: text.centimetresUnit, min: 0, max: 10_000 }}
      />
      <NumberField
        {...number("capsLaid")}
        {...{ label: text.capsLaidLabel, unit: text.capsUnit, min: 0, max: 1_000, whole: true }}
      />
      <PlaceField {...props} />
      <NumberField
        {...number("slotOpeningMm")}
        {...{ label: text.slotOpeningLabel, unit: text.millimetresUnit, min: 1, max: 500 }}
      />
      <NumberField
        {...number("gramsEach")}
        {...{ label: text.gramsEachLabel, hint: text.gramsEachHint, unit: text.gramsUnit, min: 0.1, max: 50 }}
      />
    </>
  );
}

const PlaceField = ({ parameters, prefix, problemOf }: ParameterFieldsProps) => (
  <Field
    label={text.capsWhereLabel}
    problem={problemOf("capsWhere")}
    input={{
      ...{ name: `${prefix}capsWhere`, type: "text", maxLength: 200, autocomplete: "off" },
      defaultValue: parameters.capsWhere ?? "",
    }}
  />
);

/** An empty field says that it isn't measured. */
export function readParameters(data: FormData, prefix: string): StageParametersView {
  const number = (name: string) => readNumber(data, `${prefix}${name}`) ?? null;
  return {
    distanceCm: number("distanceCm"),
    capsLaid: number("capsLaid"),
    capsWhere: readText(data, `${prefix}capsWhere`) || null,
    slotOpeningMm: number("slotOpeningMm"),
    gramsEach: number("gramsEach"),
  };
}
