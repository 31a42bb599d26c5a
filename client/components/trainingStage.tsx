import { onlyKeepersText } from "#text/screens.ts";
import * as text from "#text/trainingScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { AdviceView, StageView, TrainingView } from "../../server/contract/trainingView.ts";
import { now } from "../state/clock.ts";
import { connectionState, home } from "../state/home.ts";
import { dayText, localDate } from "../text/clock.ts";
import { presentPeriod, presentStage } from "../text/training.ts";
import { PauseAllControl } from "./pauseAllControl.tsx";
import { StartOtherStage, StartStage } from "./startStage.tsx";

interface StageProps {
  readonly view: TrainingView;
  readonly yard: YardView;
}

/** The present stage, the one advice with its reasons, and the act that it leads to. */
export function TrainingStage({ view, yard }: StageProps) {
  const period = presentPeriod(view);
  if (period === null) return <FirstStage view={view} yard={yard} />;
  const stage = presentStage(view);
  const start = localDate(Date.parse(period.from), yard.zone);
  const today = localDate(now.value, yard.zone);
  const days = Math.round((Date.parse(today) - Date.parse(start)) / 86_400_000) + 1;
  const number = view.stages.findIndex(({ id }) => id === period.stage) + 1;
  return (
    <>
      <section class="training-stage" aria-labelledby="stage-title">
        <p class="since">{number === 0 ? text.removedStageText : text.stageText(number, view.stages.length)}</p>
        <h2 id="stage-title">{period.name}</h2>
        <p class="since">
          {text.sinceText(dayText(start, today), days)}
          {stage !== null && ` · ${text.usualDaysText(stage.usualDays.from, stage.usualDays.to)}`}
        </p>
      </section>
      {view.advice !== null && <Advice advice={view.advice} view={view} yard={yard} />}
      {yard.role === "keeper" ? (
        <StartOtherStage view={view} yard={yard} />
      ) : (
        <p class="hint">{onlyKeepersText(yard.name)}</p>
      )}
    </>
  );
}

function Advice({ advice, view, yard }: StageProps & { readonly advice: AdviceView }) {
  const { title, reasons, wouldChange, pauseStage, to, kind } = advice;
  const stage = view.stages.find(({ id }) => id === to?.stage);
  return (
    <section class={`advice ${kind}`} aria-labelledby="advice-title">
      <h2 id="advice-title">
        <span class="hidden">{text.adviceTitle}: </span>
        {title}
      </h2>
      {reasons.map((reason) => (
        <p key={reason}>{reason}</p>
      ))}
      {wouldChange.length > 0 && (
        <>
          <h3>{text.wouldChangeTitle}</h3>
          <ul>
            {wouldChange.map((change) => (
              <li key={change}>{change}</li>
            ))}
          </ul>
        </>
      )}
      {pauseStage && <PauseStage yard={yard} />}
      {stage !== undefined && yard.role === "keeper" && <AdvisedStart stage={stage} kind={kind} yard={yard} />}
    </section>
  );
}

function AdvisedStart(props: {
  readonly stage: StageView;
  readonly kind: AdviceView["kind"];
  readonly yard: YardView;
}) {
  const { stage, kind, yard } = props;
  const isBack = kind === "stepBack";
  return (
    <StartStage
      {...{ stage, yard }}
      label={isBack ? text.goBackLabel(stage.name) : text.startLabel(stage.name)}
      reasons={isBack ? text.backReasons : text.startReasons}
    />
  );
}

const PauseStage = ({ yard }: { readonly yard: YardView }) => (
  <div class="notice warning">
    <h3>{text.pauseTitle}</h3>
    <p>{text.pauseText}</p>
    <PauseAllControl
      yard={yard}
      page={{
        now: now.value,
        asOf: home.value?.asOf ?? now.value,
        connection: connectionState.value,
        zone: yard.zone,
      }}
    />
  </div>
);

function FirstStage({ view, yard }: StageProps) {
  const [first] = view.stages;
  return (
    <section aria-labelledby="stage-title">
      <h2 id="stage-title">{text.introTitle}</h2>
      <p>{text.introText}</p>
      {yard.role !== "keeper" ? (
        <p class="hint">{onlyKeepersText(yard.name)}</p>
      ) : (
        first !== undefined && (
          <>
            <StartStage
              {...{ stage: first, yard }}
              label={text.startWithLabel(first.name)}
              reasons={[...text.startReasons].reverse()}
            />
            <StartOtherStage view={view} yard={yard} />
          </>
        )
      )}
    </section>
  );
}
