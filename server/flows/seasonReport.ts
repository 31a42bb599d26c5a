import type { ReportStageView, ReportView } from "../contract/reportView.ts";
import type { NoteView, TrainingDayView } from "../contract/trainingView.ts";
import { type Instant, instantOf, isoOf } from "../domain/instant.ts";
import { localDateOf, localTimeOf } from "../domain/localTime.ts";
import { isJudgedDay } from "../domain/training/judgeStage.ts";
import { keptShare } from "../domain/training/keptShare.ts";
import type { Programme, StagePeriod } from "../domain/training/programme.ts";
import type { FoodPromise } from "../domain/training/promises.ts";
import { siteDay } from "../domain/training/siteDay.ts";
import type { TrainingDay } from "../domain/training/trainingDay.ts";
import type { FeederRow, Ports, ProgrammeChangeRow, RowPlace, YardRow } from "../ports.ts";
import { notesView } from "./notes.ts";
import { programmeFrom } from "./programmeChanges.ts";
import { stageRequestOf } from "./pure/requestedProgramme.ts";
import { changeView, keptView } from "./pure/trainingTexts.ts";
import { dayView, type PeriodDate, stagedDates } from "./training.ts";
import { type FeederDays, readTrainingDays } from "./trainingDays.ts";

const daysMax = 366;
/** The events of so many days are in memory at a time. */
const daysAtOnce = 31;
const notesMax = 500;

/** A yard's training record of a season: every stage with its own figures, of all feeders that the yard has. */
export async function seasonReport(
  ports: Pick<Ports, "store" | "clock">,
  yard: YardRow,
  feeders: readonly FeederRow[],
): Promise<ReportView> {
  const now = ports.clock.now();
  const changes = await ports.store.training.programmeChanges(yard.id);
  const programme = programmeFrom(changes);
  const dates = stagedDates(programme, yard.zone, now, daysMax);
  const all = newTally();
  const byPeriod = new Map(programme.periods.map((period) => [period, newTally()]));
  let unreadableDays = 0;
  for (let start = 0; start < dates.length; start += daysAtOnce) {
    const part = dates.slice(start, start + daysAtOnce);
    const read: FeederDays[] = [];
    for (const row of feeders) read.push(await readTrainingDays(ports.store, row, part, now));
    unreadableDays += read.reduce((sum, { unreadable }) => sum + unreadable, 0);
    for (const staged of part) {
      const ofFeeders = read.flatMap(({ days }) => days.get(staged.date) ?? []);
      const tally = byPeriod.get(staged.period);
      if (ofFeeders.length === 0 || tally === undefined) continue;
      const day = siteDay(ofFeeders);
      addDay(tally, staged, day, { zone: yard.zone, now });
      addHours(all, day, hoursOfBouts(day, yard.zone));
    }
  }
  const notes = await readNotes(ports, yard.id);
  const shown = programme.periods.filter((period) => byPeriod.get(period)?.hasDays || isSince(period, dates));
  const [first, last] = [dates[0], dates.at(-1)];
  return {
    yard: yard.id,
    stages: programme.stages.map(stageRequestOf),
    ...{ from: first?.date ?? null, to: last?.date ?? null, boutsByHour: meanHours(all), unreadableDays },
    pages: shown.map((period) =>
      pageOf(period, { programme, changes, tally: byPeriod.get(period) ?? newTally(), notes: notes.found }),
    ),
    leftOut: notes.more || shown.length < programme.periods.length,
  };
}

/** Whether it lasted into the report's days, also where it has no noon of its own. */
const isSince = ({ to }: StagePeriod, [first]: readonly PeriodDate[]): boolean =>
  first === undefined || to === null || isoOf(to).slice(0, 10) >= first.date;

/** What is kept of a day that was read: small beside its events. */
interface Tally {
  readonly days: TrainingDayView[];
  readonly promises: FoodPromise[];
  readonly hours: number[]; // sums over judged days
  judgedDays: number;
  hasDays: boolean;
}

const newTally = (): Tally => ({
  ...{ days: [], promises: [], judgedDays: 0, hasDays: false },
  hours: Array.from({ length: 24 }, () => 0),
});

function addDay(
  tally: Tally,
  { date, stage, period }: PeriodDate,
  day: TrainingDay,
  at: { readonly zone: string; readonly now: Instant },
): void {
  // Whole days of the stage: neither that on which it began nor the one on which it ended, or the running one.
  const isWhole = date > localDateOf(period.from, at.zone) && date < localDateOf(period.to ?? at.now, at.zone);
  tally.days.push(dayView({ date, stage, distanceCm: null, day }, isWhole ? [day] : []));
  tally.promises.push(...day.ledger.promises);
  tally.hasDays = true;
  if (isWhole) addHours(tally, day, day.actsByHour);
}

function addHours(tally: Tally, day: TrainingDay, counts: readonly number[]): void {
  if (!isJudgedDay(day)) return;
  tally.judgedDays += 1;
  for (const [hour, count] of counts.entries()) tally.hours[hour] = (tally.hours[hour] ?? 0) + count;
}

function hoursOfBouts({ bouts }: TrainingDay, zone: string): readonly number[] {
  const hours = Array.from({ length: 24 }, () => 0);
  for (const { from } of bouts) {
    const hour = Number(localTimeOf(from, zone).slice(0, 2));
    hours[hour] = (hours[hour] ?? 0) + 1;
  }
  return hours;
}

const meanHours = ({ hours, judgedDays }: Tally): readonly number[] | null =>
  judgedDays === 0 ? null : hours.map((sum) => Math.round((100 * sum) / judgedDays) / 100);

interface PageSource {
  readonly programme: Programme;
  readonly changes: readonly ProgrammeChangeRow[];
  readonly tally: Tally;
  readonly notes: readonly NoteView[];
}

function pageOf(period: StagePeriod, { programme, changes, tally, notes }: PageSource): ReportStageView {
  const isWithinPeriod = (at: Instant) => period.from <= at && (period.to === null || at < period.to);
  return {
    period: {
      ...{ stage: period.stage.id, name: period.stage.name, from: isoOf(period.from) },
      to: period.to === null ? null : isoOf(period.to),
    },
    stage: stageRequestOf(period.stage),
    changes: changes
      .filter(({ at, undone }) => undone === null && isWithinPeriod(at))
      .map((change) => changeView(change, programme)),
    days: tally.days,
    kept: keptView(keptShare(tally.promises)),
    actsByHour: meanHours(tally),
    notes: notes.filter(({ at }) => isWithinPeriod(instantOf(at))),
  };
}

/** The newest notes, the oldest of them first. */
async function readNotes(ports: Pick<Ports, "store" | "clock">, yard: string) {
  const found: NoteView[] = [];
  for (let before: RowPlace | null = null; ; ) {
    const { notes, more } = await notesView(ports, yard, before);
    found.push(...notes);
    const last = notes.at(-1);
    if (!more || last === undefined || found.length >= notesMax) return { found: found.reverse(), more };
    before = { at: instantOf(last.at), id: last.id };
  }
}
