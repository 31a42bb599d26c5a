import * as text from "#text/trainingCharts.ts";
import { latencyText, longLatencyText } from "#text/trainingFigures.ts";
import type { StageView, TrainingDayView, TrainingView } from "../../server/contract/trainingView.ts";
import { capitalize } from "./amount.ts";
import { dayText, localDate } from "./clock.ts";
import { numberText } from "./format.ts";

/** The training record's values as text. */

/** 0.756 as "76 %" */
export const shareText = (share: number) => text.percentText(numberText(100 * share));

/** 0.44 as "+44", −0.06 as "−6": a difference of two shares, in percentage points */
export const pointsText = (difference: number) => `${difference > 0 ? "+" : ""}${numberText(100 * difference)}`;

/** 840 as "0.8 s", 12 300 as "12 s", 312 000 as "5 min" */
export const latencyMsText = (ms: number) =>
  ms < 120_000 ? latencyText(numberText(ms / 1_000, ms < 10_000 ? 1 : 0)) : longLatencyText(numberText(ms / 60_000));

/** The stage that the birds are at; null before the first one, or where it was removed from the programme since. */
export function presentStage(view: TrainingView): StageView | null {
  const period = presentPeriod(view);
  return view.stages.find(({ id }) => id === period?.stage) ?? null;
}
export const presentPeriod = (view: TrainingView) => view.periods.find(({ to }) => to === null) ?? null;

/** "Tue 24 Nov", "Today" */
export const recordDayText = (date: string, now: number, zone: string) =>
  capitalize(dayText(date, localDate(now, zone)));

/** Whether any day shows in how many bouts birds did it: without a perch switch none does. */
export const seesVisits = (view: TrainingView) => view.days.some(({ trials }) => trials !== null);

/** What stands at a day, as a reader hears it. */
export function shareReading(view: TrainingView, date: string, day: TrainingDayView | undefined, at: ReadingPlace) {
  const { dayName, isUsualTime } = at;
  if (day === undefined) return isUsualTime ? text.usualReading(dayName) : text.laterReading(dayName);
  const stage = stageName(view, day.stage);
  const notes = dayNotes(view, date, at.zone);
  const seen = seenText(view, day, dayName, stage);
  return [seen, ...(day.counts ? [] : [text.notCountedText]), ...notes].join("; ");
}
interface ReadingPlace {
  readonly dayName: string;
  readonly isUsualTime: boolean;
  readonly zone: string;
}

function seenText(view: TrainingView, day: TrainingDayView, dayName: string, stage: string): string {
  if (!seesVisits(view)) return text.actsReading(dayName, stage, day.acts);
  const { trials, successes } = day;
  return trials === null || trials === 0 || successes === null
    ? text.noTrialsReading(dayName, stage)
    : text.shareReading(dayName, stage, successes, trials, shareText(successes / trials));
}

/** What changed on a day: the birds' doing by the test for change points, and the keeper's own changes. */
export function dayNotes(view: TrainingView, date: string, zone: string): readonly string[] {
  const points = view.judgement?.changePoints.filter((point) => point.date === date) ?? [];
  return [
    ...points.map(({ before, after }) => text.changePointText(shareText(before), shareText(after))),
    ...changesOn(view, date, zone).map((change) => text.changedText(change.text)),
  ];
}

/** The changes in force that were made on this local date. */
export const changesOn = (view: TrainingView, date: string, zone: string) =>
  view.changes.filter(
    ({ at, undone }) => undone === null && isNear(at, date) && localDate(Date.parse(at), zone) === date,
  );
/** Whether it can be that date anywhere: a local date is costly to find, and a picture asks for each change on each day. */
const isNear = (at: string, date: string) => Math.abs(Date.parse(at) - Date.parse(date)) < 3 * 86_400_000;

export const stageName = (view: TrainingView, id: string | null): string =>
  view.stages.find((stage) => stage.id === id)?.name ?? view.periods.find(({ stage }) => stage === id)?.name ?? "–";
