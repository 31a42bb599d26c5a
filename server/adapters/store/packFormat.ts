import { promisify } from "node:util";
import { deflate, inflateSync } from "node:zlib";
import { type Instant, milliseconds } from "../../domain/instant.ts";
import { rangesOf, readRanges, textOfRanges } from "../../domain/seqRanges.ts";
import type { StoredBoot } from "../../domain/storedBoots.ts";
import { type LogRow, logColumns } from "./logRows.ts";

/**
 * Lines of a log as they are packed: JSON by columns, deflated (RFC 1950, whose checksum shows a changed octet). One column after the
 * other makes them half as long as one line after the other. The readings are deflated apart from the rest: they are most of it, and
 * only the log as a whole needs them.
 */
export interface Pack {
  readonly firstStep: number;
  readonly lastStep: number;
  readonly firstAt: number;
  readonly lastAt: number;
  readonly firstEventAt: number | null;
  readonly lastEventAt: number | null;
  readonly boots: string;
  readonly lines: Buffer;
  readonly readings: Buffer | null;
}

/** What a pack has stored of one boot. */
export interface PackedBoot extends StoredBoot {
  /** The numbers of its events, such as `3-7 9`. */
  readonly seqs: string;
}

const deflateAsync = promisify(deflate);

/** In a thread of zlib's, so that the event loop goes on. @param rows at least one, in order */
export async function packRows(rows: readonly LogRow[]): Promise<Pack> {
  const [first, last] = [rows[0], rows.at(-1)];
  if (first === undefined || last === undefined) throw new RangeError("expected lines to pack, got none");
  const [lines, readings] = await Promise.all([
    packLines(rows),
    deflateAsync(JSON.stringify(rows.map((row) => row.readings))),
  ]);
  return {
    firstStep: first.step,
    lastStep: last.step,
    ...spanOf(rows),
    boots: JSON.stringify(bootsOf(rows)),
    lines,
    readings,
  };
}

const packedColumns = logColumns.filter((name) => name !== "readings");

/** All columns but the readings. */
export const packLines = (rows: readonly LogRow[]): Promise<Buffer> =>
  deflateAsync(JSON.stringify(Object.fromEntries(packedColumns.map((name) => [name, rows.map((row) => row[name])]))));

/** A damaged length must not fill the memory; the longest pack that is written has a small part of this. */
const unpackedMax = { maxOutputLength: 256 * 1_024 * 1_024 };

/** The rows without their readings. @throws Error for a damaged pack */
export function unpackLines(lines: Buffer): readonly LogRow[] {
  const columns = JSON.parse(inflateSync(lines, unpackedMax).toString("utf8")) as Record<string, readonly unknown[]>;
  return (columns.step ?? []).map((_, index) => {
    const row = packedColumns.map((name) => [name, columns[name]?.[index] ?? null]);
    return { ...Object.fromEntries(row), readings: null } as LogRow;
  });
}

/** The readings of each row. @throws Error for a damaged pack */
export const unpackReadings = (readings: Buffer): readonly (string | null)[] =>
  JSON.parse(inflateSync(readings, unpackedMax).toString("utf8"));

function spanOf(rows: readonly LogRow[]) {
  const at = rows.map((row) => row.at);
  const firstEventAt = rows.flatMap((row) => row.firstEventAt ?? []);
  const lastEventAt = rows.flatMap((row) => row.lastEventAt ?? []);
  return {
    firstAt: at.reduce(least),
    lastAt: at.reduce(greatest),
    firstEventAt: firstEventAt.length === 0 ? null : firstEventAt.reduce(least),
    lastEventAt: lastEventAt.length === 0 ? null : lastEventAt.reduce(greatest),
  };
}
const least = (a: number, b: number) => Math.min(a, b);
const greatest = (a: number, b: number) => Math.max(a, b);

function bootsOf(rows: readonly LogRow[]): readonly PackedBoot[] {
  const seqs = new Map<string, number[]>();
  for (const { boot, seqs: text } of rows) {
    if (boot === null || !text) continue;
    const known = seqs.get(boot) ?? [];
    for (const { from, to } of readRanges(text)) for (let seq = from; seq <= to; seq += 1) known.push(seq);
    seqs.set(boot, known);
  }
  return newestOfEach(rows.flatMap(storedBootOf)).map((newest) => ({
    ...newest,
    seqs: textOfRanges(rangesOf((seqs.get(newest.boot) ?? []).sort((a, b) => a - b))),
  }));
}

type BootColumns = Pick<LogRow, "boot" | "at" | "sentUptimeMs" | "seqs">;

/** What a line says of its boot; nothing where it has no events. */
export function storedBootOf({ boot, at, sentUptimeMs, seqs }: BootColumns): readonly StoredBoot[] {
  if (boot === null || !seqs) return [];
  const highestSeq = readRanges(seqs).at(-1)?.to ?? 0;
  const anchor = sentUptimeMs === null ? null : { receivedAt: at as Instant, uptime: milliseconds(sentUptimeMs) };
  return [{ boot, highestSeq, anchor }];
}

/** Each boot with its highest number, and the time of the report that brought it. @param stored in the order of the log */
export function newestOfEach<Stored extends StoredBoot>(stored: Iterable<Stored>): readonly Stored[] {
  const newest = new Map<string, Stored>();
  for (const one of stored) {
    if (one.highestSeq > (newest.get(one.boot)?.highestSeq ?? 0)) newest.set(one.boot, one);
  }
  return [...newest.values()].sort((a, b) => (a.boot < b.boot ? -1 : 1));
}
