import type { ComponentChildren } from "preact";
import { useId } from "preact/hooks";
import * as text from "#text/reportScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { ReportStageView, ReportView } from "../../server/contract/reportView.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { dayAxis } from "../charts/dayAxis.ts";
import { HoursDrawing, hoursHeight } from "../charts/hoursDrawing.tsx";
import { KeptDrawing, keptHeight } from "../charts/keptDrawing.tsx";
import { LatencyDrawing, latencyHeight } from "../charts/latencyDrawing.tsx";
import { ShareDrawing, shareHeight } from "../charts/shareDrawing.tsx";
import { now } from "../state/clock.ts";
import { numberText } from "../text/format.ts";
import { recordDayText, seesVisits } from "../text/training.ts";

interface PaperPictureProps {
  readonly title: string;
  readonly sentence: string;
  readonly height: number;
  readonly draw: (width: number) => ComponentChildren;
}

/** Half of the text on A4 or Letter, so that labels keep their size there; the screen scales it. */
const paperWidth = 360;

/** A picture without anything to operate: paper has no slider. */
function PaperPicture({ title, sentence, height, draw }: PaperPictureProps) {
  const id = useId();
  return (
    <figure class="report-picture" aria-labelledby={`${id}-title`}>
      <h4 id={`${id}-title`}>{title}</h4>
      <p id={`${id}-sentence`}>{sentence}</p>
      <div class="chart-frame">
        <svg
          class="training-chart"
          role="img"
          aria-label={title}
          aria-describedby={`${id}-sentence`}
          viewBox={`0 0 ${paperWidth} ${height}`}
        >
          {draw(paperWidth)}
        </svg>
      </div>
    </figure>
  );
}

export const HoursOnPaper = (props: {
  readonly title: string;
  readonly sentence: string;
  readonly counts: readonly number[];
}) => (
  <PaperPicture
    title={props.title}
    sentence={props.sentence}
    height={hoursHeight}
    draw={(width) => (
      <HoursDrawing
        {...{ acts: props.counts, nights: [], width, place: outside }}
        mostText={numberText(Math.max(...props.counts), 1)}
      />
    )}
  />
);

/** Left of every picture: paper has no place to read out. */
const outside = -10;

/** The pictures of one stage, drawn as the training page draws those of all. */
export function StagePictures(props: {
  readonly page: ReportStageView;
  readonly report: ReportView;
  readonly yard: YardView;
}) {
  const { page, report, yard } = props;
  const view = viewOf(page, report);
  const dayName = (date: string) => recordDayText(date, now.value, yard.zone);
  const axisAt = (width: number) => dayAxis(view, yard.zone, width);
  const shared = { view, dayName, place: outside };
  if (view.days.length === 0) return <p class="empty">{text.noDaysText}</p>;
  return (
    <div class="report-pictures">
      <PaperPicture
        title={text.shareTitle}
        sentence={seesVisits(view) ? text.shareSentence : text.actsSentence}
        height={shareHeight}
        draw={(width) => <ShareDrawing {...shared} axis={axisAt(width)} zone={yard.zone} />}
      />
      {page.kept.promised > 0 && (
        <PaperPicture
          title={text.keptTitle}
          sentence={text.keptSentence}
          height={keptHeight}
          draw={(width) => <KeptDrawing {...shared} axis={axisAt(width)} />}
        />
      )}
      {page.kept.latencyMs !== null && <LatencyOnPaper view={view} dayName={dayName} axisAt={axisAt} />}
      {page.actsByHour !== null && (
        <HoursOnPaper title={text.hoursTitle} sentence={text.hoursSentence} counts={page.actsByHour} />
      )}
    </div>
  );
}

const LatencyOnPaper = (props: {
  readonly view: TrainingView;
  readonly dayName: (date: string) => string;
  readonly axisAt: (width: number) => ReturnType<typeof dayAxis>;
}) => (
  <PaperPicture
    title={text.latencyTitle}
    sentence={text.latencySentence}
    height={latencyHeight}
    draw={(width) => <LatencyDrawing view={props.view} dayName={props.dayName} axis={props.axisAt(width)} />}
  />
);

/** The stage alone, as the drawings take a record. */
function viewOf({ period, stage, changes, days, actsByHour }: ReportStageView, report: ReportView): TrainingView {
  const isKept = report.stages.some(({ id }) => id === stage.id);
  return {
    ...{ yard: report.yard, periods: [period], changes, days, actsByHour },
    stages: isKept ? report.stages : [...report.stages, stage],
    ...{ readyStages: [], keptMin: 0, advice: null, judgement: null, ledger: [], effects: [], distance: null },
    ...{ feedersWithoutPlan: [], unreadableDays: 0, capsOnDish: [], seasonText: null },
  };
}
