import { isAssumed } from "../domain/assumedSettings.ts";
import { hasBirds } from "../domain/digest/digestFeeder.ts";
import { isoOf } from "../domain/instant.ts";
import type { LocalDate } from "../domain/localTime.ts";
import type { ExportRow, ExportTable } from "../domain/training/exportColumns.ts";
import { keptShare } from "../domain/training/keptShare.ts";
import type { Programme } from "../domain/training/programme.ts";
import { siteDay } from "../domain/training/siteDay.ts";
import { trialCounts } from "../domain/training/trainingDay.ts";
import type { FeederRow, Ports, YardRow } from "../ports.ts";
import { eventRows } from "./eventRows.ts";
import { noteRows, photoRows, stillRows } from "./pictureRows.ts";
import { programmeFrom } from "./programmeChanges.ts";
import { causeOfPromise, changeView } from "./pure/trainingTexts.ts";
import { judgedShareOf, stagedDates } from "./training.ts";
import { type FeederDays, readTrainingDays, type StagedDate } from "./trainingDays.ts";

/** The training record of a yard as rows, from its first stage to now, a month at a time: ten years need no more memory than that. */
export async function* trainingRows(
  ports: Pick<Ports, "store" | "clock" | "pictureFiles">,
  yard: YardRow,
  table: ExportTable,
): AsyncGenerator<ExportRow> {
  if (table === "notes") yield* noteRows(ports, yard.id);
  else if (table === "photos") yield* photoRows(ports, yard.id);
  else if (table === "stills") yield* stillRows(ports, yard.id);
  else if (table === "feeders") yield* (await allFeeders(ports, yard)).map(feederRow);
  else yield* programmeRows(ports, yard, table);
}

/** What the dates of the programme decide on. */
async function* programmeRows(
  ports: Pick<Ports, "store" | "clock">,
  yard: YardRow,
  table: Exclude<ExportTable, "notes" | "photos" | "stills" | "feeders">,
): AsyncGenerator<ExportRow> {
  const changes = await ports.store.training.programmeChanges(yard.id);
  const programme = programmeFrom(changes);
  if (table === "stages") yield* programme.periods.map(stageRow);
  else if (table === "changes") yield* changes.map((change) => changeRow(change, programme));
  else {
    const dates = stagedDates(programme, yard.zone, ports.clock.now(), daysMax);
    const feeders = await feedersOf(ports, yard);
    if (table === "events") yield* eventRows(ports, feeders, dates, daysMax);
    else yield* recordRows(ports, feeders, table, dates);
  }
}

function changeRow(change: Parameters<typeof changeView>[0], programme: Programme): ExportRow {
  const { at, by, text, reason, undone, id } = changeView(change, programme);
  return [at, by, text, reason, undone?.at ?? null, undone?.by ?? null, id, JSON.stringify(change.content)];
}

const allFeeders = async ({ store }: Pick<Ports, "store">, { id }: YardRow): Promise<readonly FeederRow[]> =>
  (await store.yards.feeders()).filter((row) => row.yard === id);

/** On the bench or put away, a feeder has no birds: the page leaves it out, too. */
const feedersOf = async (ports: Pick<Ports, "store">, yard: YardRow): Promise<readonly FeederRow[]> =>
  (await allFeeders(ports, yard)).filter(({ state }) => hasBirds(state));

function feederRow({ id, state: { settings } }: FeederRow): ExportRow {
  const { button, detector, chute, perch, scale } = settings.sensors;
  const fitted = [button, detector, chute, perch, scale].map(Number);
  return [id, settings.name, ...fitted, isAssumed(settings, "portionMass") ? null : settings.portionMass];
}

function stageRow({ stage, from, to }: Programme["periods"][number]): ExportRow {
  const { distanceCm, capsLaid, slotOpeningMm, gramsEach } = stage.parameters;
  return [
    ...[stage.id, stage.name, isoOf(from), to === null ? null : isoOf(to)],
    ...[distanceCm, capsLaid, slotOpeningMm, gramsEach],
  ];
}

/** Ten years. */
const daysMax = 3_653;
const daysAtOnce = 31;

async function* recordRows(
  { store, clock }: Pick<Ports, "store" | "clock">,
  feeders: readonly FeederRow[],
  table: "days" | "promises" | "bouts",
  dates: readonly StagedDate[],
): AsyncGenerator<ExportRow> {
  for (let start = 0; start < dates.length; start += daysAtOnce) {
    const part = dates.slice(start, start + daysAtOnce);
    const read: FeederDays[] = [];
    for (const row of feeders) read.push(await readTrainingDays(store, row, part, clock.now()));
    for (const staged of part) {
      if (table === "days") yield* dayRow(staged, read);
      else for (const of of read) yield* feederRows(table, staged.date, of);
    }
  }
}

function* dayRow({ date, stage }: StagedDate, read: readonly FeederDays[]): Generator<ExportRow> {
  const ofFeeders = read.flatMap(({ days }) => days.get(date) ?? []);
  if (ofFeeders.length === 0) return;
  const day = siteDay(ofFeeders);
  const counts = trialCounts(day);
  const { freePortions, unexplainedPortions, rejectedDeposits } = day.ledger;
  yield [
    ...[date, stage.id, counts?.trials ?? null, counts?.successes ?? null, day.acts],
    ...keptColumns(day.ledger.promises),
    ...[freePortions.length, unexplainedPortions, rejectedDeposits],
    ...[judgedShareOf(day), day.airCelsius === null ? null : Math.round(10 * day.airCelsius) / 10],
  ];
}

function keptColumns(promises: Parameters<typeof keptShare>[0]): ExportRow {
  const { promised, paid, latency } = keptShare(promises);
  return [promised, paid, latency?.p50 ?? null, latency?.p95 ?? null, latency?.worst ?? null];
}

function* feederRows(
  table: "promises" | "bouts",
  date: LocalDate,
  { feeder, days, exclusions }: FeederDays,
): Generator<ExportRow> {
  const day = days.get(date);
  if (day === undefined) return;
  if (table === "bouts") {
    for (const { from, to, visits, presses, deposits } of day.bouts)
      yield [feeder, isoOf(from), isoOf(to), visits, presses, deposits];
    return;
  }
  for (const promise of day.ledger.promises) {
    const { at, act, outcome, latency } = promise;
    yield [feeder, isoOf(at), act, outcome, latency, causeOfPromise(promise, exclusions)];
  }
}
