import { createHash } from "node:crypto";
import type { ImportedLine } from "../contract/importedRecord.ts";
import { bootLabel, bootNumber } from "../domain/bootNumber.ts";
import { newFeeder } from "../domain/feeder.ts";
import { after, before, type Instant, instantOf, later, milliseconds, type Span } from "../domain/instant.ts";
import { grams } from "../domain/units.ts";
import type { Clock, FeederRow, Ports, YardRow } from "../ports.ts";
import { ownEventLoopTurn } from "./eventLoopTurn.ts";
import { newFeederKey } from "./feederKeys.ts";
import { createIngest } from "./ingest.ts";
import { logEntryOf } from "./pure/logEntry.ts";
import { defaultSettings, withSettings } from "./pure/requestedSettings.ts";
import { checkedLines, type RecordFiles } from "./recordTables.ts";

/**
 * Feeders of an imported record, and their events. Each is a feeder of its own, which never reports itself: its events go through the
 * steps of a report, at the moment of the last one of each part, so that days, sums and promises come out as they did.
 */

type Line = ImportedLine<"feeders">;

export interface ImportedFeeders {
  /** By the id in the archive: the feeder's id in this yard. */
  readonly ids: ReadonlyMap<string, string>;
  readonly feeders: number;
  readonly events: number;
  readonly eventsLeftOut: number;
}

export async function importFeeders(
  ports: Ports,
  yard: YardRow,
  record: RecordFiles,
  by: string,
): Promise<ImportedFeeders> {
  const quiet = quietly(ports);
  const known = await ports.store.yards.feeders();
  const lines = new Map<string, Line>();
  for await (const line of checkedLines(record, "feeders")) lines.set(line.feeder, line);
  const firsts = await firstMoments(record, lines, ports.clock.now());
  const ids = new Map<string, string>();
  let feeders = 0;
  for (const [feeder, at] of firsts) {
    const own = known.find((row) => row.id === feeder && row.yard === yard.id);
    const id = own?.id ?? importedId(yard.id, feeder);
    ids.set(feeder, id);
    if (own !== undefined || known.some((row) => row.id === id)) continue;
    await addImported(ports, yard, { id, line: lines.get(feeder) ?? null, name: feeder }, { at, by });
    feeders += 1;
  }
  const isOwn = (id: string) => known.some((row) => row.id === id && row.yard === yard.id && !isRecord(row));
  return { ids, feeders, ...(await importEvents(quiet, record, ids, isOwn)) };
}

/** Always the same, so that an archive that comes again adds nothing. */
const importedId = (yard: string, feeder: string): string =>
  `imported-${createHash("sha256")
    .update(JSON.stringify([yard, feeder]))
    .digest("hex")
    .slice(0, 12)}`;

/** One that was given a key and has reported itself is a record no more. */
const isRecord = ({ state }: FeederRow): boolean =>
  state.settings.imported === true && Object.values(state.latestReadings?.readings ?? {}).every(isNothing);

const isNothing = (value: unknown): boolean => value === null || value === undefined;

/** Of each feeder of which the archive has anything, a moment before its first event. */
async function firstMoments(
  record: RecordFiles,
  known: ReadonlyMap<string, Line>,
  now: Instant,
): Promise<ReadonlyMap<string, Instant>> {
  const firsts = new Map<string, Instant>();
  for await (const { feeder } of checkedLines(record, "notes"))
    if (feeder !== null && known.has(feeder)) firsts.set(feeder, now);
  for await (const { feeder } of checkedLines(record, "stills")) firsts.set(feeder, now);
  for await (const { feeder, at } of checkedLines(record, "events")) {
    firsts.set(feeder, Math.min(firsts.get(feeder) ?? now, before(instantOf(at), milliseconds(1))) as Instant);
  }
  return firsts;
}

async function addImported(
  ports: Ports,
  yard: YardRow,
  { id, line, name }: { readonly id: string; readonly line: Line | null; readonly name: string },
  { at, by }: { readonly at: Instant; readonly by: string },
): Promise<void> {
  const usual = withSettings(defaultSettings(yard, line?.name ?? name), { placement: "putAway" });
  const { detectsSensors: _, ...fixed } = usual;
  const settings = line === null ? usual : { ...fixed, sensors: sensorsOf(line), ...portionOf(line) };
  const imported = { ...settings, imported: true as const };
  const firstEntry = JSON.stringify(logEntryOf({ kind: "settingsChanged", settings: imported }, at, by));
  const { hash } = newFeederKey(); // nobody is shown the key
  const state = newFeeder(imported, at);
  await ports.store.yards.addFeeder(
    { id, yard: yard.id, keyHash: hash, practice: yard.practice, state, firstEntry },
    at,
  );
  ports.liveFeed.announceChange(yard.id, null, null);
}

const sensorsOf = ({ button, detector, chute, perch, scale }: Line) => ({ button, detector, chute, perch, scale });
const portionOf = ({ portion_grams: mass }: Line) => (mass === null ? {} : { portionMass: grams(mass) });

// --- events --------------------------------------------------------------------------------------------------------

interface Part {
  readonly feeder: string;
  readonly boot: string;
  /** When the boot began, by the first of its events in the archive: the others' uptimes are made to fit it. */
  readonly bootedAt: Instant;
  readonly events: { readonly at: Instant; readonly body: object }[];
}

const eventsAtOnce = 500;

async function importEvents(
  ports: Ports,
  record: RecordFiles,
  ids: ReadonlyMap<string, string>,
  isOwn: (feeder: string) => boolean,
): Promise<Pick<ImportedFeeders, "events" | "eventsLeftOut">> {
  const take = eventTaker(ports);
  const begins = new Map<string, Instant>();
  let [events, eventsLeftOut]: [number, number] = [0, 0];
  let part: Part | null = null;
  for await (const { at, feeder, boot, reported } of checkedLines(record, "events")) {
    const id = ids.get(feeder) as string;
    if (isOwn(id)) {
      eventsLeftOut += 1;
      continue;
    }
    const moment = instantOf(at);
    const key = `${id} ${boot}`;
    const bootedAt = begins.get(key) ?? before(moment, milliseconds(reported.uptimeMs));
    begins.set(key, bootedAt);
    const fits: boolean = part?.feeder === id && part.boot === boot && part.events.length < eventsAtOnce;
    if (!fits && part !== null) events += await take(part);
    if (!fits || part === null) part = { feeder: id, boot, bootedAt, events: [] };
    part.events.push({ at: moment, body: { ...reported, uptimeMs: moment - bootedAt } });
  }
  if (part !== null) events += await take(part);
  return { events, eventsLeftOut };
}

/** @returns takes a part by the steps of a report; gives the number of events that were new */
function eventTaker(ports: Ports): (part: Part) => Promise<number> {
  let now = 0 as Instant;
  const clock: Clock = { now: () => now };
  const ingest = createIngest({ ...ports, clock });
  return async ({ feeder, boot, bootedAt, events }) => {
    await ownEventLoopTurn();
    const last = events.reduce((most, { at }) => later(most, at), 0 as Instant);
    const { lastStepAt } = (await ports.store.yards.feeder(feeder)) as FeederRow;
    now = lastStepAt === null ? last : later(last, after(lastStepAt, milliseconds(1)));
    const sentUptimeMs = (now - bootedAt) as Span;
    const sent = { boot: importedBoot(boot), sentUptimeMs, events: events.map(({ body }) => body) };
    const outcome = await ingest.take(feeder, sent);
    if (outcome.kind !== "answered") throw new Error(`expected a part of a checked record, got ${outcome.kind}`);
    return events.length - outcome.answer.duplicates - outcome.answer.refused.length;
  };
}

/** A start whose id was used before gets an id of its own. */
const importedBoot = (boot: string): string =>
  bootNumber(boot) === 1 ? boot : `${bootLabel(boot).slice(0, 56)}~${bootNumber(boot)}`;

/** Nobody is told of what happened long ago, and no broker is sent an order of it. */
const quietly = (ports: Ports): Ports => ({
  ...ports,
  liveFeed: { ...ports.liveFeed, announceChange: () => undefined },
  outboxSignal: { notify: () => undefined },
  retainedMessages: { ...ports.retainedMessages, update: () => undefined },
});
