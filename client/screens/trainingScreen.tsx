import { loadingText } from "#text/common.ts";
import { yardNotFoundText } from "#text/screens.ts";
import * as text from "#text/trainingScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { DiseaseNotice } from "../components/diseaseNotice.tsx";
import { DownloadRecord } from "../components/downloadRecord.tsx";
import { ImportRecord } from "../components/importRecord.tsx";
import { LinkedText } from "../components/linkedText.tsx";
import { Screen } from "../components/screen.tsx";
import { Shaping } from "../components/shapingForm.tsx";
import { TrainingFigures } from "../components/trainingFigures.tsx";
import { TrainingPictures } from "../components/trainingPictures.tsx";
import { TrainingStage } from "../components/trainingStage.tsx";
import { useTraining } from "../components/useTraining.tsx";
import { presentPeriod, presentStage } from "../text/training.ts";
import { notFoundScreen } from "./notFound.tsx";
import "../style/training.css";

/** A yard's training: the stage and the one advice, what the birds did as pictures, and how well the bargain was kept. */
export function TrainingScreen(props: { readonly id: string }) {
  const { yard, view, notice } = useTraining(props.id);
  if (yard === null) return notFoundScreen(text.title, yardNotFoundText);
  return (
    <Screen
      title={text.pageTitle(yard.name)}
      practice={yard.practice}
      back={{ href: `/yards/${yard.id}`, name: yard.name }}
      wide
    >
      {notice}
      <DiseaseNotice yard={yard} />
      {/* An earlier build stored the record without it. */}
      {(view?.seasonText ?? null) !== null && <p class="hint">{view?.seasonText}</p>}
      {view !== null && <Training view={view} yard={yard} />}
      {view === null && notice === null && <p class="empty first-load">{loadingText}</p>}
    </Screen>
  );
}

interface TrainingProps {
  readonly view: TrainingView;
  readonly yard: YardView;
}

function Training({ view, yard }: TrainingProps) {
  const stage = presentStage(view);
  const isStarted = presentPeriod(view) !== null; // also where its stage was removed from the programme since
  return (
    <>
      <Hindrances view={view} yard={yard} />
      <div class={isStarted ? "training-columns" : undefined}>
        <div class="part stage">
          <TrainingStage view={view} yard={yard} />
          {stage !== null && <Shaping stage={stage} yard={yard} />}
          <TrainingLinks yard={yard} isStarted={isStarted} />
          <DownloadRecord yard={yard.id} />
          {yard.role === "keeper" && <ImportRecord yard={yard} />}
        </div>
        {isStarted && (
          <>
            <section class="part pictures" aria-labelledby="pictures-title">
              <h2 id="pictures-title">{text.picturesTitle}</h2>
              {view.judgement !== null && <p>{view.judgement.text}</p>}
              {view.days.length === 0 && <p class="empty">{text.noDaysText}</p>}
              <TrainingPictures view={view} yard={yard} />
            </section>
            <div class="part figures">
              <TrainingFigures view={view} yard={yard} />
            </div>
          </>
        )}
      </div>
    </>
  );
}

const TrainingLinks = ({ yard, isStarted }: { readonly yard: YardView; readonly isStarted: boolean }) => (
  <ul class="page-links">
    <li>
      <a href={`/yards/${yard.id}/training/programme`}>{text.programmeLink}</a>{" "}
      <span class="since">{text.programmeLinkText}</span>
    </li>
    {isStarted && (
      <li>
        <a href={`/yards/${yard.id}/report`}>{text.reportLink}</a> <span class="since">{text.reportLinkText}</span>
      </li>
    )}
  </ul>
);

/** What keeps the record, or the stage, from reaching the birds. */
function Hindrances({ view, yard }: TrainingProps) {
  const isKeeper = yard.role === "keeper";
  return (
    <>
      {yard.feeders.length === 0 && (
        <p class="notice">
          {isKeeper ? <LinkedText text={text.noFeederText} hrefs={["/feeders/new"]} /> : text.noFeederHelperText}
        </p>
      )}
      {view.feedersWithoutPlan.map((name) => {
        const feeder = yard.feeders.find((one) => one.name === name);
        return (
          <p key={name} class="notice">
            <LinkedText text={text.withoutPlanText(name)} hrefs={[feeder ? `/feeders/${feeder.id}/plan` : "/"]} />
          </p>
        );
      })}
      {view.unreadableDays > 0 && <p class="notice">{text.unreadableText(view.unreadableDays)}</p>}
    </>
  );
}
