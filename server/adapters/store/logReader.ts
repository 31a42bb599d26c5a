import type Database from "better-sqlite3";
import { eventInstant } from "../../domain/feederClock.ts";
import { type Instant, milliseconds } from "../../domain/instant.ts";
import type { StoredBoot } from "../../domain/storedBoots.ts";
import { type LogLine, PackDamaged, type RecordedEvent, type ReportLine, type StoredBodies } from "../../ports.ts";
import { columnList, type LogRow, logLineOf } from "./logRows.ts";
import { newestOfEach, storedBootOf } from "./packFormat.ts";
import { createPackReader, hasAny } from "./packReader.ts";

/**
 * Reads a feeder's log: what happened in a span of time, and what is stored of an event's number. The lines of days that are over are
 * in packs; the others follow them. @throws PackDamaged
 */
export interface LogReader {
  /** After the step `after` until the step `through`, at most `most`, and fewer where they are long. Of thinned days steps are missing. */
  lines(feederNo: number, after: number, through: number, most: number): readonly LogLine[];
  /** Events recorded in [from, to), by time and number. */
  events(feederNo: number, from: Instant, to: Instant): readonly RecordedEvent[];
  /** Reports received in [from, to), without their events. */
  readings(
    feederNo: number,
    from: Instant,
    to: Instant,
  ): readonly { readonly at: Instant; readonly readings: string }[];
  bodies(feederNo: number, boot: string, seqs: readonly number[]): StoredBodies;
  boots(feederNo: number, label: string): readonly StoredBoot[];
  /** When the last of its thinned lines was; null: there are none. */
  thinnedUntil(feederNo: number): Instant | null;
}

/** A page of the log is not much longer than this, however long its lines are. */
const pageLengthMax = 512 * 1_024;

export function createLogReader(database: Database.Database): LogReader {
  const packs = createPackReader(database);
  const { readLines, readEvents, readReadings, readNumbers, readLine, readBoots } = lineStatements(database);
  const rowsAfter = function* (feederNo: number, after: number, through: number, most: number) {
    yield* packs.lines(feederNo, after, through);
    yield* readLines.iterate(feederNo, after, through, most);
  };

  return {
    thinnedUntil: (feederNo) => packs.thinnedUntil(feederNo),

    lines: (feederNo, after, through, most) => pageOf(rowsAfter(feederNo, after, through, most), most),

    events(feederNo, from, to) {
      const rows = [...packs.around(feederNo, from, to), ...readEvents.all(feederNo, from, to)];
      const found = rows.flatMap((row) => eventsOf(logLineOf(row)));
      return found.filter(({ recordedAt }) => from <= recordedAt && recordedAt < to).sort(byTime);
    },

    readings: (feederNo, from, to) => [
      ...packs
        .readings(feederNo, from, to)
        .map(({ at, readings }) => ({ at: at as Instant, readings: readings ?? "{}" })),
      ...readReadings.all(feederNo, from, to),
    ],

    bodies(feederNo, boot, seqs) {
      const wanted = new Set(seqs);
      const steps = readNumbers
        .all(feederNo, boot)
        .flatMap(({ step, seqs: stored }) => (hasAny(stored, wanted) ? [step] : []));
      const rows = steps.flatMap((step) => readLine.get(feederNo, step) ?? []);
      const events = [...packs.withEvents(feederNo, boot, seqs), ...rows].flatMap((row) => eventsOf(logLineOf(row)));
      return new Map(events.filter(({ seq }) => wanted.has(seq)).map((event) => [event.seq, event]));
    },

    boots(feederNo, label) {
      const inLines = readBoots.all(feederNo, label, `${label}#`, `${label}$`).flatMap(storedBootOf);
      return newestOfEach([...packs.boots(feederNo, label), ...inLines]);
    },
  };
}

function lineStatements(database: Database.Database) {
  const readLines = database.prepare<[number, number, number, number], LogRow>(
    `SELECT ${columnList} FROM "LogLine" WHERE "feederNo" = ? AND "step" > ? AND "step" <= ? ORDER BY "step" LIMIT ?`,
  );
  const readEvents = database.prepare<[number, number, number], LogRow>(
    `SELECT ${columnList} FROM "LogLine" WHERE "feederNo" = ? AND "lastEventAt" >= ? AND "firstEventAt" < ?`,
  );
  const readReadings = database.prepare<[number, number, number], { at: Instant; readings: string }>(
    `SELECT "at", "readings" FROM "LogLine"
     WHERE "feederNo" = ? AND "kind" = 0 AND "at" >= ? AND "at" < ? AND "readings" IS NOT NULL ORDER BY "step"`,
  );
  const readNumbers = database.prepare<[number, string], { step: number; seqs: string }>(
    `SELECT "step", "seqs" FROM "LogLine" WHERE "feederNo" = ? AND "boot" = ? AND "seqs" <> ''`,
  );
  const readLine = database.prepare<[number, number], LogRow>(
    `SELECT ${columnList} FROM "LogLine" WHERE "feederNo" = ? AND "step" = ?`,
  );
  // `$` comes right after `#`: between them are the later starts under the same id.
  const readBoots = database.prepare<
    [number, string, string, string],
    Pick<LogRow, "boot" | "at" | "sentUptimeMs" | "seqs">
  >(
    `SELECT "boot", "at", "sentUptimeMs", "seqs" FROM "LogLine"
     WHERE "feederNo" = ? AND "seqs" <> '' AND ("boot" = ? OR ("boot" > ? AND "boot" < ?)) ORDER BY "step"`,
  );
  return { readLines, readEvents, readReadings, readNumbers, readLine, readBoots };
}

function pageOf(rows: Iterable<LogRow>, most: number): readonly LogLine[] {
  const lines: LogLine[] = [];
  let length = 0;
  try {
    for (const row of rows) {
      lines.push(logLineOf(row));
      length += (row.events?.length ?? 0) + (row.readings?.length ?? 0);
      if (lines.length >= most || length > pageLengthMax) break;
    }
  } catch (error) {
    if (!(error instanceof PackDamaged) || lines.length === 0) throw error; // the next page begins with the damaged lines
  }
  return lines;
}

/** The events of a line, each with its moment. */
function eventsOf({ at, content }: LogLine): readonly RecordedEvent[] {
  return content.kind === "report" ? eventsOfReport(content, at) : [];
}

function eventsOfReport({ boot, bootedAt, events }: ReportLine, receivedAt: Instant): readonly RecordedEvent[] {
  return (JSON.parse(events) as StoredBody[]).map((body) => ({
    seq: body.seq,
    boot,
    kind: body.kind,
    recordedAt: eventInstant(bootedAt, milliseconds(body.uptimeMs), receivedAt),
    body: JSON.stringify(body),
  }));
}

/** What every stored event has. */
interface StoredBody {
  readonly seq: number;
  readonly kind: string;
  readonly uptimeMs: number;
}

const byTime = (a: RecordedEvent, b: RecordedEvent): number => a.recordedAt - b.recordedAt || a.seq - b.seq;
