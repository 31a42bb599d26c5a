import * as text from "#text/trainingFigures.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { BrokenPromiseView, JudgementView, LimitsView, TrainingView } from "../../server/contract/trainingView.ts";
import { now } from "../state/clock.ts";
import { capitalize } from "../text/amount.ts";
import { dayAndTimeText, dayText, localDate } from "../text/clock.ts";
import { numberText, roughNumberText } from "../text/format.ts";
import { latencyMsText, presentPeriod, shareText, stageName } from "../text/training.ts";
import { StillPicture, stillNameOf } from "./stillPicture.tsx";

interface FiguresProps {
  readonly view: TrainingView;
  readonly yard: YardView;
}

/** The bargain and how well it was kept, what else brought food, and how the present stage was judged. */
export const TrainingFigures = ({ view, yard }: FiguresProps) => (
  <>
    <section aria-labelledby="bargain-title">
      <h2 id="bargain-title">{text.bargainTitle}</h2>
      {view.judgement !== null && <Bargain view={view} judgement={view.judgement} zone={yard.zone} />}
      <KeptByStage view={view} />
      <h3>{text.brokenTitle}</h3>
      <BrokenPromises view={view} yard={yard} />
    </section>
    {view.judgement !== null && (
      <>
        <Contingency view={view} judgement={view.judgement} zone={yard.zone} />
        <Judged judgement={view.judgement} />
      </>
    )}
    <p class="hint">{text.siteText}</p>
  </>
);

type Row = readonly [name: string, value: string];

const Rows = ({ rows }: { readonly rows: readonly Row[] }) => (
  <dl class="numbers">
    {rows.map(([name, value]) => (
      <div key={name}>
        <dt>{name}</dt>
        <dd>{value}</dd>
      </div>
    ))}
  </dl>
);

const between = ({ low, high }: LimitsView) => text.betweenValue(shareText(low), shareText(high));

function Bargain(props: { readonly view: TrainingView; readonly judgement: JudgementView; readonly zone: string }) {
  const { kept, delayedWorth } = props.judgement;
  const { promised, paid, share, limits, latencyMs } = kept;
  const rows: Row[] = [
    [text.keptName, share === null ? text.nothingPromisedValue : text.keptValue(paid, promised, shareText(share))],
    ...(share === null ? [] : [[text.keptLimitsName, between(limits)] as const]),
    [text.keptMinName, shareText(props.view.keptMin)],
    ...(latencyMs === null
      ? []
      : ([
          [text.medianName, latencyMsText(latencyMs.p50)],
          [text.mostName, latencyMsText(latencyMs.p95)],
          [text.worstName, latencyMsText(latencyMs.worst)],
        ] as const)),
    ...capsRows(props.view, props.zone),
  ];
  return (
    <>
      <p>{text.bargainText}</p>
      <Rows rows={rows} />
      {latencyMs !== null && delayedWorth !== null && (
        <p class="hint">
          {text.delayText(latencyMsText(latencyMs.p50), shareText(delayedWorth.low), shareText(delayedWorth.high))}
        </p>
      )}
    </>
  );
}

/** Of the days that are shown: a stage that ended before them is in the season's report. */
function KeptByStage({ view }: { readonly view: TrainingView }) {
  const stages = [...new Set(view.days.map(({ stage }) => stage))];
  const rows = stages.flatMap((stage): Row[] => {
    const days = view.days.filter((day) => day.stage === stage);
    const [paid, promised] = [sumOf(days, ({ kept }) => kept.paid), sumOf(days, ({ kept }) => kept.promised)];
    return promised === 0 ? [] : [[stageName(view, stage), text.keptValue(paid, promised, shareText(paid / promised))]];
  });
  if (rows.length === 0) return null;
  return (
    <>
      <h3>{text.byStageTitle}</h3>
      <p class="hint">{text.byStageText}</p>
      <Rows rows={rows} />
    </>
  );
}

const sumOf = <Item,>(items: readonly Item[], count: (item: Item) => number): number =>
  items.reduce((sum, item) => sum + count(item), 0);

/** By day, the newest first, as far back as the record's days are shown. */
function capsRows({ capsOnDish }: TrainingView, zone: string): readonly Row[] {
  // An earlier build stored the record without it.
  const counted = (capsOnDish ?? []).filter(({ caps }) => caps > 0);
  if (counted.length === 0) return [];
  const today = localDate(now.value, zone);
  const days = counted.map(({ date, caps }) => text.capsOfDayText(dayText(date, today), caps)).reverse();
  return [[text.capsName, text.capsValue(numberText(counted.reduce((sum, { caps }) => sum + caps, 0)), days)]];
}

const brokenShown = 5;

function BrokenPromises({ view, yard }: FiguresProps) {
  if (view.ledger.length === 0) return <p>{text.noneBrokenText}</p>;
  const rest = view.ledger.slice(brokenShown);
  return (
    <>
      <BrokenList promises={view.ledger.slice(0, brokenShown)} yard={yard} />
      {rest.length > 0 && (
        <details>
          <summary>{text.moreBrokenLabel(rest.length)}</summary>
          <BrokenList promises={rest} yard={yard} />
        </details>
      )}
    </>
  );
}

const BrokenList = (props: { readonly promises: readonly BrokenPromiseView[]; readonly yard: YardView }) => (
  <ul class="broken-promises">
    {props.promises.map(({ feeder, at, act, outcome, cause, still, event }) => {
      const name = props.yard.feeders.find(({ id }) => id === feeder)?.name ?? feeder;
      const moment = capitalize(dayAndTimeText(at, now.value, props.yard.zone));
      return (
        <li key={`${feeder}${at}`}>
          {text.brokenText(moment, name, text.actNames[act], text.outcomeNames[outcome])}{" "}
          <span class="since">{cause === null ? text.noCauseText : text.causeText(cause)}</span>
          {/* An earlier build stored the record without these. */}
          {event && <a href={noteHref(props.yard.id, { feeder, at, act, event })}>{text.addNoteLabel}</a>}
          {still && (
            <StillPicture
              yard={props.yard.id}
              still={still}
              name={stillNameOf({ at, kind: act }, name, props.yard.zone)}
            />
          )}
        </li>
      );
    })}
  </ul>
);

function noteHref(yard: string, of: Pick<BrokenPromiseView, "feeder" | "at" | "act" | "event">): string {
  const { feeder, at, act, event } = of;
  const query = new URLSearchParams({ feeder, at, kind: act, boot: event.boot, seq: String(event.seq) });
  return `/yards/${yard}/notes?${query}`;
}

function Contingency(props: { readonly view: TrainingView; readonly judgement: JudgementView; readonly zone: string }) {
  const { view, judgement, zone } = props;
  const { deltaP, binSeconds } = judgement.contingency;
  const since = localDate(Date.parse(presentPeriod(view)?.from ?? ""), zone);
  const days = view.days.filter(({ date }) => date >= since);
  const sum = (count: (day: TrainingView["days"][number]) => number) =>
    numberText(days.reduce((all, day) => all + count(day), 0));
  return (
    <section aria-labelledby="contingency-title">
      <h2 id="contingency-title">{text.contingencyTitle}</h2>
      <Rows
        rows={[
          [text.deltaPName, deltaP === null ? text.unknownValue : numberText(deltaP, 2, 2)],
          [text.freeName, sum(({ freePortions }) => freePortions)],
          [text.unexplainedName, sum(({ unexplainedPortions }) => unexplainedPortions)],
          [text.rejectedName, sum(({ rejectedDeposits }) => rejectedDeposits)],
        ]}
      />
      <p class="hint">{text.contingencyText(text.binText(numberText(binSeconds)))}</p>
    </section>
  );
}

function Judged({ judgement }: { readonly judgement: JudgementView }) {
  const { daysInStage, judgedDays, bouts, evidence, decline } = judgement;
  const rows: Row[] = [
    [text.daysInStageName, `${daysInStage}`],
    [text.judgedDaysName, `${judgedDays}`],
    ...(bouts === null ? [] : [[text.boutsName, `${bouts}`] as const]),
    ...recentRows(judgement.recent),
    ...(bouts === null
      ? []
      : ([
          [text.aboveChanceName, text.timesValue(roughNumberText(evidence.aboveChance))],
          [text.belowCriterionName, text.timesValue(roughNumberText(evidence.belowCriterion))],
        ] as const)),
    ...(decline === null
      ? []
      : [[text.declineName, `${shareText(decline.ratio)} (${between(decline.limits)})`] as const]),
  ];
  return (
    <details class="judged">
      <summary>{text.judgedTitle}</summary>
      <Rows rows={rows} />
      <p class="hint">{text.judgedText(numberText(evidence.decides))}</p>
      {judgement.recent?.share != null && <p class="hint">{text.intervalsHint}</p>}
    </details>
  );
}

function recentRows(recent: JudgementView["recent"]): readonly Row[] {
  if (recent === null) return [];
  const { days, successes, trials, share, wilson, beta, actsADayLeast } = recent;
  return [
    ...(share === null
      ? []
      : ([
          [text.recentName(days), text.recentValue(successes, trials, shareText(share))],
          [text.wilsonName, between(wilson)],
          [text.betaName, between(beta)],
        ] as const)),
    [text.leastActsName, `${actsADayLeast}`],
  ];
}
