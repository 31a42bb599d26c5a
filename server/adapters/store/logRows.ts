import type Database from "better-sqlite3";
import type { Instant } from "../../domain/instant.ts";
import type { LogContent, LogLine } from "../../ports.ts";

/** A line of a feeder's log as a row. */
export interface LogRow {
  readonly step: number;
  readonly at: number;
  readonly kind: 0 | 1 | 2;
  readonly boot: string | null;
  readonly sentUptimeMs: number | null;
  readonly seqs: string | null;
  readonly bootedAt: number | null;
  readonly firstEventAt: number | null;
  readonly lastEventAt: number | null;
  readonly recalled: string | null;
  readonly entry: string | null;
  readonly readings: string | null;
  readonly events: string | null;
}

const noReport = {
  boot: null,
  sentUptimeMs: null,
  seqs: null,
  bootedAt: null,
  firstEventAt: null,
  lastEventAt: null,
  recalled: null,
  entry: null,
  readings: null,
  events: null,
};

function logRowOf({ step, at, content }: LogLine): LogRow {
  switch (content.kind) {
    case "check":
      return { ...noReport, step, at, kind: 2 };
    case "entry":
      return { ...noReport, step, at, kind: 1, entry: content.entry };
    case "report": {
      const { boot, sentUptimeMs, seqs, bootedAt, eventSpan, recalled, readings, events } = content;
      return {
        step,
        at,
        kind: 0,
        boot,
        sentUptimeMs,
        seqs,
        bootedAt,
        firstEventAt: eventSpan?.first ?? null,
        lastEventAt: eventSpan?.last ?? null,
        recalled: recalled.length === 0 ? null : JSON.stringify(recalled),
        entry: null,
        readings,
        events: eventSpan === null ? null : events,
      };
    }
  }
}

export function logLineOf(row: LogRow): LogLine {
  return { step: row.step, at: row.at as Instant, content: contentOf(row) };
}

function contentOf(row: LogRow): LogContent {
  if (row.kind === 2) return { kind: "check" };
  if (row.kind === 1) return { kind: "entry", entry: row.entry ?? "{}" };
  const { firstEventAt, lastEventAt } = row;
  return {
    kind: "report",
    boot: row.boot ?? "",
    sentUptimeMs: row.sentUptimeMs,
    seqs: row.seqs ?? "",
    bootedAt: row.bootedAt as Instant | null,
    eventSpan:
      firstEventAt === null || lastEventAt === null
        ? null
        : { first: firstEventAt as Instant, last: lastEventAt as Instant },
    recalled: row.recalled === null ? [] : JSON.parse(row.recalled),
    readings: row.readings,
    events: row.events ?? "[]",
  };
}

export const logColumns = [
  "step",
  "at",
  "kind",
  "boot",
  "sentUptimeMs",
  "seqs",
  "bootedAt",
  "firstEventAt",
  "lastEventAt",
  "recalled",
  "entry",
  "readings",
  "events",
] as const satisfies readonly (keyof LogRow)[];

export const columnList = logColumns.map((name) => `"${name}"`).join(", ");

export function logWriter(database: Database.Database) {
  const insert = database.prepare(
    `INSERT INTO "LogLine" ("feederNo", ${columnList}) VALUES (?${", ?".repeat(logColumns.length)})`,
  );
  return (feederNo: number, line: LogLine) => {
    const row = logRowOf(line);
    insert.run(feederNo, ...logColumns.map((name) => row[name]));
  };
}
