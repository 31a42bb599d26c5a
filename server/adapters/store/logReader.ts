import type Database from "better-sqlite3";
import { eventInstant } from "../../domain/feederClock.ts";
import { type Instant, milliseconds } from "../../domain/instant.ts";
import { readRanges } from "../../domain/seqRanges.ts";
import type { StoredBoot } from "../../domain/storedBoots.ts";
import type { LogLine, RecordedEvent, ReportLine, StoredBodies } from "../../ports.ts";
import { columnList, type LogRow, logLineOf } from "./logRows.ts";

/** Reads a feeder's log: what happened in a span of time, and what is stored of an event's number. */
export interface LogReader {
  /** After the step `after` until the step `through`, at most `most`, and fewer where they are long. */
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
}

/** A page of the log is not much longer than this, however long its lines are. */
const pageLengthMax = 512 * 1_024;

export function createLogReader(database: Database.Database): LogReader {
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
  const readBoots = database.prepare<[number, string, string, string], BootColumns>(
    `SELECT "boot", "at", "sentUptimeMs", "seqs" FROM "LogLine"
     WHERE "feederNo" = ? AND "seqs" <> '' AND ("boot" = ? OR ("boot" > ? AND "boot" < ?)) ORDER BY "step"`,
  );

  return {
    lines(feederNo, after, through, most) {
      const lines: LogLine[] = [];
      let length = 0;
      for (const row of readLines.iterate(feederNo, after, through, most)) {
        lines.push(logLineOf(row));
        length += (row.events?.length ?? 0) + (row.readings?.length ?? 0);
        if (length > pageLengthMax) break;
      }
      return lines;
    },

    events(feederNo, from, to) {
      const found = readEvents.all(feederNo, from, to).flatMap((row) => eventsOf(logLineOf(row)));
      return found.filter(({ recordedAt }) => from <= recordedAt && recordedAt < to).sort(byTime);
    },

    readings: (feederNo, from, to) => readReadings.all(feederNo, from, to),

    bodies(feederNo, boot, seqs) {
      const wanted = new Set(seqs);
      const bodies = new Map<number, Pick<RecordedEvent, "body" | "recordedAt">>();
      for (const { step, seqs: stored } of readNumbers.all(feederNo, boot)) {
        if (!hasAny(stored, wanted)) continue;
        const row = readLine.get(feederNo, step);
        for (const event of row === undefined ? [] : eventsOf(logLineOf(row))) {
          if (wanted.has(event.seq)) bodies.set(event.seq, event);
        }
      }
      return bodies;
    },

    boots: (feederNo, label) => newestOfEach(readBoots.all(feederNo, label, `${label}#`, `${label}$`)),
  };
}

/** The events of a line, each with its moment. */
export function eventsOf({ at, content }: LogLine): readonly RecordedEvent[] {
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

const hasAny = (stored: string, wanted: ReadonlySet<number>): boolean => {
  const ranges = readRanges(stored);
  for (const seq of wanted) if (ranges.some(({ from, to }) => from <= seq && seq <= to)) return true;
  return false;
};

interface BootColumns {
  readonly boot: string;
  readonly at: Instant;
  readonly sentUptimeMs: number | null;
  readonly seqs: string;
}

/** Each boot with its highest number, and the time of the report that brought it. */
function newestOfEach(rows: readonly BootColumns[]): readonly StoredBoot[] {
  const newest = new Map<string, StoredBoot>();
  for (const { boot, at, sentUptimeMs, seqs } of rows) {
    const highestSeq = readRanges(seqs).at(-1)?.to ?? 0;
    if (highestSeq <= (newest.get(boot)?.highestSeq ?? 0)) continue;
    const anchor = sentUptimeMs === null ? null : { receivedAt: at, uptime: milliseconds(sentUptimeMs) };
    newest.set(boot, { boot, highestSeq, anchor });
  }
  return [...newest.values()].sort((a, b) => (a.boot < b.boot ? -1 : 1));
}
