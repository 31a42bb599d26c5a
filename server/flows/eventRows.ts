import { birdsEventFilter } from "../domain/benchRun/advanceBench.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import { addLocalDays, type LocalDate, localDateOf, startOfLocalDay } from "../domain/localTime.ts";
import type { ExportRow, ExportValue } from "../domain/training/exportColumns.ts";
import type { FoodPromise } from "../domain/training/promises.ts";
import { eventKey } from "../domain/training/trainingEvent.ts";
import { type FeederRow, PackDamaged, type Ports, type RecordedEvent } from "../ports.ts";
import { ownEventLoopTurn } from "./eventLoopTurn.ts";
import { readTrainingDays, type StagedDate } from "./trainingDays.ts";

const daysAtOnce = 14;

/**
 * What feeders reported of their birds as rows of the export: a feeder after the other, each in order of time, a day at a time. Bench runs
 * are left out, as on every page about birds, and so is a day whose part of the log can't be read.
 * @param dates with a stage, in order; what became of an act is known on those alone
 */
export async function* eventRows(
  { store, clock }: Pick<Ports, "store" | "clock">,
  feeders: readonly FeederRow[],
  dates: readonly StagedDate[],
  daysMax: number,
): AsyncGenerator<ExportRow> {
  const staged = new Map(dates.map((date) => [date.date, date]));
  for (const row of feeders) {
    const today = localDateOf(clock.now(), row.state.settings.zone);
    let found = false;
    for (let start = 1 - daysMax; start <= 0; start += daysAtOnce) {
      const count = Math.min(daysAtOnce, 1 - start);
      const part = Array.from({ length: count }, (_, index) => addLocalDays(today, start + index));
      // Of a feeder that is one season old, years are passed over in large steps.
      if (!found && !(await hasEvents(store.records, row, part))) continue;
      found = false;
      const rows = fortnightRows(
        { store, row, now: clock.now() },
        part,
        part.flatMap((date) => staged.get(date) ?? []),
      );
      for await (const event of rows) {
        found = true;
        yield event;
      }
    }
  }
}

interface FeederSource {
  readonly store: Ports["store"];
  readonly row: FeederRow;
  readonly now: Instant;
}

async function* fortnightRows(
  { store, row, now }: FeederSource,
  dates: readonly LocalDate[],
  staged: readonly StagedDate[],
): AsyncGenerator<ExportRow> {
  let paid: ReadonlyMap<string, FoodPromise> | null = null;
  for (const date of dates) {
    const events = await readDay(store.records, row, date);
    if (events.length > 0) paid ??= await promisesByKey(store, row, staged, now);
    for (const event of events) yield eventRow(row.id, date, event, paid?.get(eventKey(event.boot, event.seq)) ?? null);
    await ownEventLoopTurn();
  }
}

type Records = Ports["store"]["records"];

/** Also where a part of them can't be read. */
async function hasEvents(records: Records, { id, state }: FeederRow, dates: readonly LocalDate[]): Promise<boolean> {
  const { from, to } = spanOf(dates, state.settings.zone);
  try {
    return (await records.events(id, from, to, 1)).length > 0;
  } catch (error) {
    if (error instanceof PackDamaged) return true;
    throw error;
  }
}

async function readDay(records: Records, { id, state }: FeederRow, date: LocalDate): Promise<readonly RecordedEvent[]> {
  const { from, to } = spanOf([date], state.settings.zone);
  try {
    return (await records.events(id, from, to, Number.MAX_SAFE_INTEGER)).filter(birdsEventFilter(state.bench));
  } catch (error) {
    if (error instanceof PackDamaged) return [];
    throw error;
  }
}

const spanOf = (dates: readonly LocalDate[], zone: string) => ({
  from: startOfLocalDay(dates[0] as LocalDate, zone),
  to: startOfLocalDay(addLocalDays(dates.at(-1) as LocalDate, 1), zone),
});

async function promisesByKey(
  store: Ports["store"],
  row: FeederRow,
  staged: readonly StagedDate[],
  now: Instant,
): Promise<ReadonlyMap<string, FoodPromise>> {
  if (staged.length === 0) return new Map();
  const { days } = await readTrainingDays(store, row, staged, now);
  return new Map([...days.values()].flatMap(({ ledger }) => ledger.promises.map((promise) => [promise.key, promise])));
}

interface PostedEvent {
  readonly cause?: string;
  readonly grams?: number | null;
  readonly chuteCount?: number | null;
  readonly earns?: boolean | null;
}

function eventRow(feeder: string, date: LocalDate, event: RecordedEvent, promise: FoodPromise | null): ExportRow {
  const { at, boot, seq, kind, body } = { ...event, at: event.recordedAt };
  const posted = JSON.parse(body) as PostedEvent;
  const isPortion = kind === "portion";
  return [
    ...[isoOf(at), date, feeder, boot, seq, kind],
    isPortion ? textOf(posted.cause) : null,
    kind === "refill" ? numberOf(posted.grams) : null,
    isPortion ? numberOf(posted.chuteCount) : null,
    typeof posted.earns === "boolean" ? Number(posted.earns) : null,
    ...[promise?.portion ?? null, promise?.latency ?? null, body],
  ];
}

/** An event of a kind or a version that isn't known here may have anything there. */
const textOf = (value: unknown): ExportValue => (typeof value === "string" ? value : null);
const numberOf = (value: unknown): ExportValue => (typeof value === "number" ? value : null);
