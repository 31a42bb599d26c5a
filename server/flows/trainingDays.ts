import { birdsEventFilter } from "../domain/benchRun/advanceBench.ts";
import { before, days, hours, type Instant, minutes } from "../domain/instant.ts";
import { addLocalDays, instantOfLocal, type LocalDate, localTimeOf, startOfLocalDay } from "../domain/localTime.ts";
import type { FeederSettings } from "../domain/settings.ts";
import { civilDayAround } from "../domain/sun.ts";
import { isWithin, type TimeSpan } from "../domain/timeSpans.ts";
import type { Stage } from "../domain/training/stage.ts";
import { type Exclusion, type TrainingDay, trainingDay } from "../domain/training/trainingDay.ts";
import type { TrainingEvent } from "../domain/training/trainingEvent.ts";
import { type FeederRow, type HistoryStore, PackDamaged, type RecordStore } from "../ports.ts";
import { ownEventLoopTurn } from "./eventLoopTurn.ts";
import { eventContentOf } from "./pure/paymentEvents.ts";
import { exclusions } from "./pure/trainingSpans.ts";

interface Stores {
  readonly records: Pick<RecordStore, "events" | "alarmChanges" | "orders">;
  readonly history: HistoryStore;
}

export interface FeederDays {
  readonly feeder: string;
  /** By date. */
  readonly days: ReadonlyMap<LocalDate, TrainingDay>;
  readonly exclusions: readonly Exclusion[];
  readonly unreadable: number; // days of which a part of the log can't be read
}

/** A local date and the stage that was in force then. */
export interface StagedDate {
  readonly date: LocalDate;
  readonly stage: Stage;
}

/** The days of one feeder, as the training record needs them. A day at a time: what arrives meanwhile waits for one of them. */
export async function readTrainingDays(
  stores: Stores,
  row: FeederRow,
  dates: readonly StagedDate[],
  now: Instant,
): Promise<FeederDays> {
  const { zone } = row.state.settings;
  const [first, last] = [dates[0], dates.at(-1)];
  if (first === undefined || last === undefined) throw new RangeError("expected at least one date");
  const within = { from: startOfLocalDay(first.date, zone), to: now };
  const byDate = new Map<LocalDate, readonly TrainingEvent[]>();
  let unreadable = 0;
  for (const { date } of dates) {
    const events = await readEvents(stores.records, row, localDay(date, zone));
    if (events === null) unreadable += 1;
    else byDate.set(date, events);
    await ownEventLoopTurn();
  }
  const excluded = exclusions(
    {
      state: row.state,
      alarmChanges: await stores.records.alarmChanges(row.id, within.from, within.to),
      orders: await stores.records.orders(row.id, before(within.from, days(60)), within.to),
      eventTimes: [...byDate.values()].flat().map(({ recordedAt }) => recordedAt),
    },
    within,
  );
  const hoursKnown = await knownHours(stores.history, row, within);
  const found = new Map<LocalDate, TrainingDay>();
  for (const { date, stage } of dates) {
    const events = byDate.get(date);
    if (events === undefined) continue;
    const lit = litSpan(row.state.settings, date, now);
    found.set(date, dayOf({ date, stage, events, lit, excluded, hoursKnown }, row));
  }
  return { feeder: row.id, days: found, exclusions: excluded, unreadable };
}

const localDay = (date: LocalDate, zone: string): TimeSpan => ({
  from: startOfLocalDay(date, zone),
  to: startOfLocalDay(addLocalDays(date, 1), zone),
});

/** More than birds cause in a day; a feeder that reports more has a fault. */
const eventsADayMax = 5_000;

/** @returns null where a part of the log can't be read */
async function readEvents(
  records: Stores["records"],
  { id, state }: FeederRow,
  { from, to }: TimeSpan,
): Promise<readonly TrainingEvent[] | null> {
  try {
    const recorded = await records.events(id, from, to, eventsADayMax);
    return recorded.filter(birdsEventFilter(state.bench)).flatMap((event) => {
      const content = eventContentOf(event);
      const { boot, seq, recordedAt } = event;
      return content === null ? [] : [{ ...content, boot, seq, recordedAt }];
    });
  } catch (error) {
    if (error instanceof PackDamaged) return null;
    throw error;
  }
}

/** Without a place nobody knows when it is light: then from six to eighteen. */
function litSpan({ place, zone }: FeederSettings, date: LocalDate, now: Instant): TimeSpan {
  const noon = instantOfLocal(date, "12:00", zone);
  const lit =
    place === null
      ? { from: before(noon, hours(6)), to: (noon + hours(6)) as Instant }
      : (({ dawn, dusk }) => ({ from: dawn, to: dusk }))(civilDayAround(place, noon));
  return lit.to <= now ? lit : { from: Math.min(lit.from, now) as Instant, to: now };
}

/** What the roll-up of an hour says. */
interface KnownHour {
  readonly at: Instant;
  readonly isReported: boolean;
  readonly airCelsius: number | null;
}

async function knownHours(
  history: HistoryStore,
  row: FeederRow,
  { from, to }: TimeSpan,
): Promise<readonly KnownHour[]> {
  const found = await history.rollups(row.id, () => ({ level: "hour", from, to, starts: [from] }));
  return (found?.rollups ?? []).map(({ from: at, rollup }) => {
    const { air } = rollup.measures;
    return { at, isReported: rollup.counts.reports > 0, airCelsius: air === null ? null : air.sum / air.count / 10 };
  });
}

interface DaySource {
  readonly date: LocalDate;
  readonly stage: Stage;
  readonly events: readonly TrainingEvent[];
  readonly lit: TimeSpan;
  readonly excluded: readonly Exclusion[];
  readonly hoursKnown: readonly KnownHour[];
}

function dayOf({ date, stage, events, lit, excluded, hoursKnown }: DaySource, { state }: FeederRow): TrainingDay {
  const { zone, sensors } = state.settings;
  const around = { from: before(lit.from, hours(1)), to: (lit.to + minutes(1)) as Instant };
  const ofDay = hoursKnown.filter(({ at }) => isWithin(around, at));
  const measured = ofDay.flatMap(({ airCelsius }) => airCelsius ?? []);
  // Nothing is known of a day without reports and events, such as one before the feeder was added.
  const isUnknown = events.length === 0 && !ofDay.some(({ isReported }) => isReported);
  const unknown: readonly Exclusion[] = isUnknown ? [{ ...lit, why: "gap", fault: null }] : [];
  return trainingDay({
    ...{ date, stage: stage.kind, events, lit },
    excluded: [...excluded, ...unknown],
    airCelsius: measured.length === 0 ? null : measured.reduce((sum, celsius) => sum + celsius, 0) / measured.length,
    seesVisits: sensors.perch || events.some(({ kind }) => kind === "visit"),
    pressesArePromises: stage.earns.press?.ratio.kind === "fixed" && stage.earns.press.ratio.of === 1,
    hourOf: (at) => Number(localTimeOf(at, zone).slice(0, 2)),
  });
}
