import type { TrainingDayView, TrainingView } from "../contract/trainingView.ts";
import { hasBirds, isStanding } from "../domain/digest/digestFeeder.ts";
import { after, before, days as daysLong, type Instant, isoOf, milliseconds } from "../domain/instant.ts";
import { addLocalDays, instantOfLocal, localDateOf, localDaysBetween } from "../domain/localTime.ts";
import { adviseStage } from "../domain/training/adviseStage.ts";
import { isJudgedDay, judgeStage } from "../domain/training/judgeStage.ts";
import { keptShare } from "../domain/training/keptShare.ts";
import { type CountedCaps, capsByDay, recentCaps } from "../domain/training/misplacedCaps.ts";
import {
  nextStage,
  type Programme,
  parametersAt,
  periodAt,
  presentPeriod,
  previousStage,
  type StagePeriod,
} from "../domain/training/programme.ts";
import { readyStages } from "../domain/training/readyStages.ts";
import { siteDay } from "../domain/training/siteDay.ts";
import { actOf } from "../domain/training/stage.ts";
import { distanceCurveOf, type StagedDay, stepEffects } from "../domain/training/stepEffects.ts";
import { type TrainingDay, trialCounts } from "../domain/training/trainingDay.ts";
import type { FeederRow, Ports, ProgrammeChangeRow, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { programmeFrom } from "./programmeChanges.ts";
import { stageRequestOf } from "./pure/requestedProgramme.ts";
import { seasonText } from "./pure/seasonText.ts";
import { faultsThatCount } from "./pure/trainingSpans.ts";
import {
  adviceView,
  type BrokenPromise,
  brokenPromises,
  changeView,
  judgementView,
  keptView,
} from "./pure/trainingTexts.ts";
import { stillPictureView, stillsOfEvents } from "./stillsOfEvents.ts";
import { type FeederDays, readTrainingDays, type StagedDate } from "./trainingDays.ts";

/** Six weeks: three or four stages. */
const daysShown = 42;
/** More than keepers write in six weeks. */
const capCountsMax = 1_000;

/** A yard's training record: its programme, what its birds did, and one advice. Feeders on the bench or put away are left out. */
export async function trainingView(
  { store }: Pick<Ports, "store">,
  yard: YardRow,
  feeders: readonly FeederRow[],
  now: Instant,
): Promise<TrainingView> {
  const changes = await store.training.programmeChanges(yard.id);
  const programme = programmeFrom(changes);
  const inGarden = feeders.filter(({ state }) => hasBirds(state));
  const dates = stagedDates(programme, yard.zone, now);
  const read: FeederDays[] = [];
  for (const row of dates.length === 0 ? [] : inGarden) read.push(await readTrainingDays(store, row, dates, now));
  const ledger = await withStills(store, yard.id, brokenPromises(read));
  const shown = { from: before(now, daysLong(daysShown)), to: after(now, milliseconds(1)) };
  const caps = await store.training.capCounts(yard.id, shown, capCountsMax);
  return viewOf({ yard, programme, changes, feeders: inGarden, dates, read, ledger, caps, now });
}

/** One read: the list of promises is short. */
async function withStills(
  store: Pick<Ports["store"], "stills">,
  yard: string,
  promises: readonly BrokenPromise[],
): Promise<TrainingView["ledger"]> {
  const stills = await stillsOfEvents(store, yard, promises);
  return promises.map(({ at, ...promise }, index) => ({
    ...{ ...promise, at: isoOf(at) },
    still: stillPictureView(stills[index] ?? null),
  }));
}

interface Source {
  readonly yard: YardRow;
  readonly programme: Programme;
  readonly changes: readonly ProgrammeChangeRow[];
  readonly feeders: readonly FeederRow[];
  readonly dates: readonly StagedDate[];
  readonly read: readonly FeederDays[];
  readonly ledger: TrainingView["ledger"];
  readonly caps: readonly CountedCaps[];
  readonly now: Instant;
}

export interface PeriodDate extends StagedDate {
  readonly period: StagePeriod;
}

/** The days since the first stage was started, at most so many, with the stage in force at noon; a day before its first noon has none. */
export function stagedDates(
  programme: Programme,
  zone: string,
  now: Instant,
  most: number = daysShown,
): readonly PeriodDate[] {
  const first = programme.periods[0];
  if (first === undefined) return [];
  const today = localDateOf(now, zone);
  const count = Math.min(most, localDaysBetween(localDateOf(first.from, zone), today) + 1);
  return Array.from({ length: Math.max(0, count) }, (_, index) => addLocalDays(today, index - count + 1)).flatMap(
    (date) => {
      const at = date === today ? now : instantOfLocal(date, "12:00", zone);
      const period = periodAt(programme, at);
      return period === null ? [] : [{ date, stage: period.stage, period }];
    },
  );
}

function viewOf(source: Source): TrainingView {
  const { yard, programme, changes, feeders, read, ledger, now } = source;
  const present = presentPeriod(programme);
  const days = siteDays(source);
  const counted = present === null ? [] : countedDays(days, present, yard.zone, now);
  const judged = present === null ? null : judgeStage(present.stage, counted);
  const steps = programme.steps.map(({ changeId, at }) => ({ changeId, date: localDateOf(at, yard.zone) }));
  return {
    yard: yard.id,
    stages: programme.stages.map(stageRequestOf),
    readyStages: readyStages(texts.training.stageNames).map(stageRequestOf),
    keptMin: programme.keptMin,
    periods: programme.periods.map(({ stage, from, to }) => ({
      ...{ stage: stage.id, name: stage.name, from: isoOf(from) },
      to: to === null ? null : isoOf(to),
    })),
    changes: changes.map((change) => changeView(change, programme)).reverse(),
    advice: present && judged && adviceOf(source, present, judged),
    judgement: present && judged && judgementView(present.stage, judged, counted),
    days: days.map((day) => dayView(day, counted)),
    actsByHour: actsByHour(counted),
    ledger,
    effects: stepEffects(steps, days).map(({ changeId, ...effect }) => {
      const change = changes.find(({ id }) => id === changeId) as ProgrammeChangeRow;
      return { ...effect, change: changeId, at: isoOf(change.at), text: changeView(change, programme).text };
    }),
    distance: distanceView(present, days),
    feedersWithoutPlan: feeders
      .filter(({ state }) => state.settings.feeding === undefined)
      .map(({ state }) => state.settings.name),
    unreadableDays: read.reduce((sum, { unreadable }) => sum + unreadable, 0),
    capsOnDish: capsByDay(source.caps, yard.zone),
    seasonText: seasonText(
      yard,
      feeders.map(({ state }) => state),
      now,
    ),
  };
}

function siteDays({ yard, programme, dates, read }: Source): readonly StagedDay[] {
  return dates.flatMap(({ date, stage }) => {
    const ofFeeders = read.flatMap(({ days }) => days.get(date) ?? []);
    const noon = instantOfLocal(date, "12:00", yard.zone);
    const distanceCm = parametersAt(programme, noon)?.distanceCm ?? null;
    return ofFeeders.length === 0 ? [] : [{ date, stage, distanceCm, day: siteDay(ofFeeders) }];
  });
}

/** Whole days of the present period: neither that on which it began nor the running one. */
const countedDays = (days: readonly StagedDay[], { from }: StagePeriod, zone: string, now: Instant) =>
  days.filter(({ date }) => date > localDateOf(from, zone) && date < localDateOf(now, zone)).map(({ day }) => day);

function adviceOf(
  { programme, feeders, caps, now, yard }: Source,
  { stage, from }: StagePeriod,
  judged: ReturnType<typeof judgeStage>,
): TrainingView["advice"] {
  const capsOnDish = recentCaps(caps, from, now, yard.zone);
  const advice = adviseStage(stage, judged, {
    hasFault: feeders.some(({ state }) => faultsThatCount.some((fault) => isStanding(state, fault))),
    keptMin: programme.keptMin,
    hasNext: nextStage(programme, stage.id) !== null,
    hasPrevious: previousStage(programme, stage.id) !== null,
    capsOnDish,
  });
  return adviceView(advice, stage, judged, programme, capsOnDish);
}

export function dayView({ date, stage, day }: StagedDay, counted: readonly StagedDay["day"][]): TrainingDayView {
  return {
    date,
    stage: stage.id,
    ...(trialCounts(day) ?? { trials: null, successes: null }),
    acts: day.acts,
    kept: keptView(keptShare(day.ledger.promises)),
    freePortions: day.ledger.freePortions.length,
    unexplainedPortions: day.ledger.unexplainedPortions,
    rejectedDeposits: day.ledger.rejectedDeposits,
    judgedShare: judgedShareOf(day),
    airCelsius: day.airCelsius === null ? null : Math.round(10 * day.airCelsius) / 10,
    counts: counted.includes(day) && isJudgedDay(day),
  };
}

function actsByHour(days: readonly StagedDay["day"][]): readonly number[] | null {
  const judged = days.filter(isJudgedDay);
  if (judged.length === 0) return null;
  return Array.from(
    { length: 24 },
    (_, hour) =>
      Math.round((100 * judged.reduce((sum, day) => sum + (day.actsByHour[hour] ?? 0), 0)) / judged.length) / 100,
  );
}

function distanceView(present: StagePeriod | null, days: readonly StagedDay[]): TrainingView["distance"] {
  const curve = present && distanceCurveOf(actOf(present.stage.kind), days);
  return (
    curve && {
      points: curve.points.map(({ limits, ...point }) => ({ ...point, ...limits })),
      halfAtCm: curve.halfAtCm,
    }
  );
}

export const judgedShareOf = ({ lit, judged }: TrainingDay): number =>
  lit === 0 ? 0 : Math.round((100 * judged) / lit) / 100;
