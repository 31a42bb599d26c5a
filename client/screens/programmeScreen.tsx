import { useState } from "preact/hooks";
import { loadingText } from "#text/common.ts";
import * as text from "#text/programmeScreen.ts";
import { onlyKeepersText, yardNotFoundText } from "#text/screens.ts";
import { rulesCaution } from "#text/trainingScreen.ts";
import type { StageView, TrainingView } from "../../server/contract/trainingView.ts";
import { LinkedText } from "../components/linkedText.tsx";
import { ProgrammeChanges } from "../components/programmeChanges.tsx";
import { ProgrammeForm } from "../components/programmeForm.tsx";
import { Screen } from "../components/screen.tsx";
import { useTraining } from "../components/useTraining.tsx";
import { criterionText, earnsText, parametersText } from "../text/stages.ts";
import { presentPeriod, shareText } from "../text/training.ts";
import { notFoundScreen } from "./notFound.tsx";
import "../style/training.css";

/** The stages of a yard's programme, to edit or to read, and its dated changes. */
export function ProgrammeScreen(props: { readonly id: string }) {
  const { yard, view, notice } = useTraining(props.id);
  const [saves, setSaves] = useState(0); // each draws the form anew, from what was saved
  if (yard === null) return notFoundScreen(text.title, yardNotFoundText);
  const isKeeper = yard.role === "keeper";
  return (
    <Screen
      title={text.pageTitle(yard.name)}
      practice={yard.practice}
      back={{ href: `/yards/${yard.id}/training`, name: text.trainingLink }}
    >
      {notice}
      {view === null && notice === null && <p class="empty first-load">{loadingText}</p>}
      {view !== null && (
        <>
          <section aria-labelledby="stages-title">
            <h2 id="stages-title">{text.stagesTitle}</h2>
            {isKeeper ? (
              <ProgrammeForm key={saves} view={view} yard={yard} onSaved={() => setSaves(saves + 1)} />
            ) : (
              <>
                <p class="hint">{onlyKeepersText(yard.name)}</p>
                <StagesToRead view={view} />
              </>
            )}
            <p class="hint">
              <LinkedText text={rulesCaution} hrefs={["/cautions"]} />
            </p>
          </section>
          <ProgrammeChanges view={view} yard={yard} />
        </>
      )}
    </Screen>
  );
}

/** For a helper, who changes nothing here. */
const StagesToRead = ({ view }: { readonly view: TrainingView }) => (
  <>
    <ol class="stage-list">
      {view.stages.map((stage, index) => (
        <StageToRead
          key={stage.id}
          stage={stage}
          number={index + 1}
          isPresent={presentPeriod(view)?.stage === stage.id}
        />
      ))}
    </ol>
    <p>
      {text.keptMinLabel}: {shareText(view.keptMin)}
    </p>
  </>
);

function StageToRead(props: { readonly stage: StageView; readonly number: number; readonly isPresent: boolean }) {
  const { stage, number, isPresent } = props;
  const shaped = parametersText(stage.parameters);
  return (
    <li>
      <h3>
        {text.stageSummary(number, stage.name)} {isPresent && <span class="since">{text.presentTag}</span>}
      </h3>
      <p>{earnsText(stage.earns)}</p>
      {shaped !== null && <p>{shaped}</p>}
      <p class="since">{criterionText(stage)}</p>
    </li>
  );
}
