import { useState } from "preact/hooks";
import * as text from "#text/trainingScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { StageView, TrainingView } from "../../server/contract/trainingView.ts";
import { announce } from "../state/announcement.ts";
import { earnsText } from "../text/stages.ts";
import { presentPeriod } from "../text/training.ts";
import { Choice, FormError, SelectField } from "./field.tsx";
import { ReasonFields, useProgrammeChange } from "./reasonFields.tsx";
import { TrainingCautions } from "./trainingCautions.tsx";

/** The act that the advice leads to, or the first start, behind a button that opens its form. */
export const StartStage = (props: {
  readonly stage: StageView;
  readonly label: string;
  readonly yard: YardView;
  readonly reasons: readonly string[];
}) => (
  <details class="act">
    <summary>{props.label}</summary>
    <StartForm key={props.stage.id} {...props} />
  </details>
);

/** Any stage of the programme: the keeper sees the birds, and the advice is only advice. */
export function StartOtherStage({ view, yard }: { readonly view: TrainingView; readonly yard: YardView }) {
  const present = presentPeriod(view)?.stage;
  const others = view.stages.filter(({ id }) => id !== present);
  const [chosen, setChosen] = useState(others[0]?.id);
  const stage = others.find(({ id }) => id === chosen) ?? others[0];
  if (stage === undefined) return null;
  return (
    <details>
      <summary>{text.otherStageSummary}</summary>
      <SelectField
        label={text.otherStageLabel}
        choices={others.map(({ id, name }) => ({ value: id, label: name }))}
        select={{
          name: "otherStage",
          value: stage.id,
          onChange: ({ currentTarget }) => setChosen(currentTarget.value),
        }}
      />
      <StartForm
        {...{ stage, yard }}
        label={text.startLabel(stage.name)}
        reasons={[...text.startReasons, ...text.backReasons.slice(0, 2)]}
      />
    </details>
  );
}

function StartForm(props: {
  readonly stage: StageView;
  readonly label: string;
  readonly yard: YardView;
  readonly reasons: readonly string[];
}) {
  const { stage, label, yard, reasons } = props;
  const { sending, problems, formError, form, change } = useProgrammeChange(yard);
  const start = async (event: SubmitEvent) => {
    event.preventDefault();
    const changesPlans = new FormData(event.currentTarget as HTMLFormElement).has("changesPlans");
    if (await change({ kind: "stageStarted", stage: stage.id, changesPlans })) announce(text.startedText(stage.name));
  };
  return (
    <form ref={form} onSubmit={(event) => void start(event)} noValidate>
      <p>
        <strong>{text.earnsTitle}:</strong> {earnsText(stage.earns)}
      </p>
      <FormError text={formError ?? problems["content.stage"] ?? null} />
      <Choice
        label={text.changesPlansLabel}
        hint={text.changesPlansHint}
        type="checkbox"
        input={{ name: "changesPlans", defaultChecked: true }}
      />
      <ReasonFields ready={reasons} problems={problems} zone={yard.zone} />
      <TrainingCautions stage={stage} />
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {label}
        </button>
      </div>
    </form>
  );
}
