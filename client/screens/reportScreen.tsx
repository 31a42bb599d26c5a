import { useState } from "preact/hooks";
import { loadingText } from "#text/common.ts";
import { capsText } from "#text/notesScreen.ts";
import * as text from "#text/reportScreen.ts";
import { yardNotFoundText } from "#text/screens.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { ReportStageView, ReportView } from "../../server/contract/reportView.ts";
import { laterApi } from "../api/laterApi.ts";
import { NotePhotos } from "../components/notePhotos.tsx";
import { HoursOnPaper, StagePictures } from "../components/reportPictures.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { now } from "../state/clock.ts";
import { connectionState, updateConnectionState, yards } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayAndTimeText, dayText, localDate } from "../text/clock.ts";
import { criterionText, earnsText, parametersText } from "../text/stages.ts";
import { latencyMsText, shareText } from "../text/training.ts";
import { notFoundScreen } from "./notFound.tsx";
import "../style/training.css";
import "../style/report.css";

/** A yard's season to print: a summary, then a page for each stage. */
export function ReportScreen({ id }: { readonly id: string }) {
  const [report, setReport] = useState<ReportView | null>(null);
  const [problem, setProblem] = useState<string | null>(null);
  useLoad(async () => {
    const result = await laterApi.seasonReport(id);
    updateConnectionState(result);
    setProblem(result.kind === "problem" ? result.problem.detail : null);
    if (result.kind === "ok") setReport(result.value);
    return result;
  }, [id]);
  const yard = yards.value.find((each) => each.id === id);
  if (yard === undefined) return notFoundScreen(text.title, yardNotFoundText);
  const missing = problem ?? (connectionState.value === "offline" ? text.notOnPhoneText : loadingText);
  return (
    <Screen
      title={text.pageTitle(yard.name)}
      practice={yard.practice}
      back={{ href: `/yards/${id}/training`, name: text.trainingLink }}
      wide
    >
      {report === null ? <p class="empty">{missing}</p> : <Report report={report} yard={yard} />}
    </Screen>
  );
}

interface ReportProps {
  readonly report: ReportView;
  readonly yard: YardView;
}

function Report({ report, yard }: ReportProps) {
  if (report.pages.length === 0) return <p class="empty">{text.emptyText}</p>;
  return (
    <div class="report">
      <div class="report-print">
        <button type="button" class="main" onClick={() => window.print()}>
          {text.printLabel}
        </button>
        <p class="hint">{text.printHint}</p>
      </div>
      <Cover report={report} yard={yard} />
      {report.pages.map((page) => (
        <StagePage key={page.period.from} page={page} report={report} yard={yard} />
      ))}
    </div>
  );
}

function Cover({ report, yard }: ReportProps) {
  const { from, to, boutsByHour, unreadableDays, leftOut } = report;
  const dayName = (date: string) => dayText(date, localDate(now.value, yard.zone));
  return (
    <section class="report-cover">
      {from !== null && to !== null && <p class="since">{capitalize(text.datesText(dayName(from), dayName(to)))}</p>}
      {leftOut && <p class="notice">{text.leftOutText}</p>}
      {unreadableDays > 0 && <p class="notice">{text.unreadableText(unreadableDays)}</p>}
      {boutsByHour !== null && (
        <HoursOnPaper title={text.birdsTitle} sentence={text.birdsSentence} counts={boutsByHour} />
      )}
      <h2>{text.summaryTitle}</h2>
      <PromiseTable pages={report.pages} yard={yard} title={text.summaryTitle} />
      <p class="hint">{text.siteText}</p>
    </section>
  );
}

function datesOf({ period }: ReportStageView, { zone }: YardView): string {
  const today = localDate(now.value, zone);
  const nameOf = (at: string) => dayText(localDate(Date.parse(at), zone), today);
  return capitalize(text.datesText(nameOf(period.from), period.to === null ? text.untilNowText : nameOf(period.to)));
}

function PromiseTable(props: {
  readonly pages: readonly ReportStageView[];
  readonly yard: YardView;
  readonly title: string;
}) {
  const columns = [
    ...[text.stageColumn, text.datesColumn, text.daysColumn, text.promisedColumn, text.paidColumn],
    ...[text.keptColumn, text.limitsColumn, text.medianColumn],
  ];
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by keyboard (WCAG 2.1.1)
    <section class="scroll report-table" tabIndex={0} aria-label={props.title}>
      <table>
        <thead>
          <tr>
            {columns.map((column) => (
              <th key={column} scope="col">
                {column}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {props.pages.map((page) => (
            <tr key={page.period.from}>
              <th scope="row">{page.period.name}</th>
              {promiseCells(page, props.yard).map((cell, index) => (
                <td key={columns[index + 1]}>{cell}</td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

function promiseCells(page: ReportStageView, yard: YardView): readonly string[] {
  const { promised, paid, share, limits, latencyMs } = page.kept;
  return [
    ...[datesOf(page, yard), `${page.days.length}`, `${promised}`, `${paid}`],
    share === null ? text.noValue : shareText(share),
    share === null ? text.noValue : text.betweenText(shareText(limits.low), shareText(limits.high)),
    latencyMs === null ? text.noValue : latencyMsText(latencyMs.p50),
  ];
}

function StagePage({ page, report, yard }: ReportProps & { readonly page: ReportStageView }) {
  const { period, stage, changes } = page;
  const number = report.stages.findIndex(({ id }) => id === stage.id) + 1;
  const nth = report.pages.filter((one) => one.stage.id === stage.id && one.period.from <= period.from).length;
  const about = [
    ...(number === 0 ? [] : [text.stageText(number, report.stages.length)]),
    ...(nth > 1 ? [text.againText(nth)] : []),
    datesOf(page, yard),
  ];
  const id = `stage-${period.from}`;
  return (
    <section class="report-stage" aria-labelledby={id}>
      <h2 id={id}>{period.name}</h2>
      <p class="since">{about.join(" · ")}</p>
      <dl class="report-facts">
        <dt>{text.earnsTitle}</dt>
        <dd>{earnsText(stage.earns)}</dd>
        <dt>{text.criterionTitle}</dt>
        <dd>{criterionText(stage)}</dd>
        <dt>{text.parametersTitle}</dt>
        <dd>{parametersText(stage.parameters) ?? text.noValue}</dd>
      </dl>
      <h3>{text.changesTitle}</h3>
      {changes.length === 0 && <p>{text.noChangesText}</p>}
      <ul>
        {changes.map(({ id: change, at, text: what, reason, by }) => (
          <li key={change}>
            {text.changeText(capitalize(dayAndTimeText(at, now.value, yard.zone)), what, reason, by)}
          </li>
        ))}
      </ul>
      <StagePictures page={page} report={report} yard={yard} />
      <h3>{text.promisesTitle}</h3>
      <PromiseTable pages={[page]} yard={yard} title={`${text.promisesTitle}, ${datesOf(page, yard)}`} />
      <Notes page={page} yard={yard} />
    </section>
  );
}

function Notes({ page, yard }: { readonly page: ReportStageView; readonly yard: YardView }) {
  if (page.notes.length === 0) return null;
  return (
    <>
      <h3>{text.notesTitle}</h3>
      <ul class="report-notes">
        {page.notes.map((note) => (
          <li key={note.id}>
            <p class="note-text">{note.text}</p>
            <p class="since">
              {[
                text.noteText(capitalize(dayAndTimeText(note.at, now.value, yard.zone)), note.by),
                ...(note.capsOnDish === null ? [] : [capsText(note.capsOnDish)]),
              ].join(" · ")}
            </p>
            <NotePhotos note={note} yard={yard} />
          </li>
        ))}
      </ul>
    </>
  );
}
