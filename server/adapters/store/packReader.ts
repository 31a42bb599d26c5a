import type Database from "better-sqlite3";
import type { Instant } from "../../domain/instant.ts";
import { readRanges } from "../../domain/seqRanges.ts";
import type { StoredBoot } from "../../domain/storedBoots.ts";
import { type DamagedLines, PackDamaged } from "../../ports.ts";
import type { LogRow } from "./logRows.ts";
import { type PackedBoot, unpackLines, unpackReadings } from "./packFormat.ts";

/** The part of a feeder's log that is packed: all lines before those in `LogLine`. A damaged pack throws PackDamaged. */
export interface PackReader {
  /** After the step `after` until the step `through`, in order. */
  lines(feederNo: number, after: number, through: number): Iterable<LogRow>;
  /** Lines of packs that have events in [from, to), in order. */
  around(feederNo: number, from: Instant, to: Instant): readonly LogRow[];
  /** Lines with readings received in [from, to), in order. */
  readings(feederNo: number, from: Instant, to: Instant): readonly LogRow[];
  /**
   * Lines that may have these events. Those of a damaged pack are left out with a warning: an event that the feeder sends again is then
   * stored twice, where an error would stop its reports for ever.
   */
  withEvents(feederNo: number, boot: string, seqs: readonly number[]): readonly LogRow[];
  /** What each pack says of the starts with this boot id, in order. */
  boots(feederNo: number, label: string): readonly StoredBoot[];
  thinnedUntil(feederNo: number): Instant | null;
}

interface StoredPack extends DamagedLines {
  readonly lines: Buffer;
  readonly readings: Buffer | null;
}
interface StoredBoots {
  readonly firstStep: number;
  readonly boots: string;
}

export function createPackReader(database: Database.Database): PackReader {
  const { readNext, readAround, readReceived, readOne, readBoots, readThinned } = packStatements(database);
  const unpacked = packOpener(database);
  const nextUnpacked = rememberingLast(unpacked);
  const bootsWith = (feederNo: number, label: string) =>
    readBoots.all(feederNo, JSON.stringify(label).slice(0, -1)).map(({ firstStep, boots }) => ({
      firstStep,
      boots: JSON.parse(boots) as readonly PackedBoot[],
    }));

  return {
    thinnedUntil: (feederNo) => readThinned.get(feederNo) ?? null,

    *lines(feederNo, after, through) {
      for (let last = after; ; ) {
        const pack = readNext.get({ feederNo, after: last, through });
        if (pack === undefined) return;
        yield* nextUnpacked(feederNo, pack).filter(({ step }) => last < step && step <= through);
        last = pack.lastStep;
      }
    },

    around: (feederNo, from, to) => readAround.all(feederNo, from, to).flatMap((pack) => unpacked(feederNo, pack)),

    readings(feederNo, from, to) {
      const isWanted = ({ at, readings }: LogRow) => from <= at && at < to && readings !== null;
      return readReceived.all(feederNo, from, to).flatMap((pack) => unpacked(feederNo, pack).filter(isWanted));
    },

    withEvents(feederNo, boot, seqs) {
      const mayHave = (one: PackedBoot) => one.boot === boot && hasAny(one.seqs, seqs);
      const steps = bootsWith(feederNo, boot).flatMap(({ firstStep, boots }) =>
        boots.some(mayHave) ? [firstStep] : [],
      );
      const packs = steps.flatMap((step) => readOne.get(feederNo, step) ?? []);
      return packs.flatMap((pack) => unlessDamaged(() => unpacked(feederNo, pack))).filter((row) => row.boot === boot);
    },

    boots(feederNo, label) {
      const isOfLabel = ({ boot }: StoredBoot) => boot === label || boot.startsWith(`${label}#`);
      return bootsWith(feederNo, label)
        .flatMap(({ boots }) => boots.filter(isOfLabel))
        .map(({ seqs: _, ...stored }) => stored);
    },
  };
}

function packStatements(database: Database.Database) {
  const columns = `"firstStep", "lastStep", "firstAt", "lastAt", "lines"`;
  const readNext = database.prepare<{ feederNo: number; after: number; through: number }, StoredPack>(
    `SELECT ${columns}, "readings" FROM "LogPack"
     WHERE "feederNo" = @feederNo AND "lastStep" > @after AND "firstStep" <= @through AND "firstStep" >= COALESCE(
       (SELECT "firstStep" FROM "LogPack" WHERE "feederNo" = @feederNo AND "firstStep" <= @after ORDER BY "firstStep" DESC LIMIT 1), 0)
     ORDER BY "firstStep" LIMIT 1`,
  );
  const readAround = database.prepare<[number, number, number], StoredPack>(
    `SELECT ${columns}, NULL AS "readings" FROM "LogPack"
     WHERE "feederNo" = ? AND "lastEventAt" >= ? AND "firstEventAt" < ? ORDER BY "firstStep"`,
  );
  const readReceived = database.prepare<[number, number, number], StoredPack>(
    `SELECT ${columns}, "readings" FROM "LogPack"
     WHERE "feederNo" = ? AND "lastAt" >= ? AND "firstAt" < ? AND NOT "thinned" ORDER BY "firstStep"`,
  );
  const readOne = database.prepare<[number, number], StoredPack>(
    `SELECT ${columns}, NULL AS "readings" FROM "LogPack" WHERE "feederNo" = ? AND "firstStep" = ?`,
  );
  // Most packs don't have the boot, so that their JSON need not be read.
  const readBoots = database.prepare<[number, string], StoredBoots>(
    `SELECT "firstStep", "boots" FROM "LogPack" WHERE "feederNo" = ? AND instr("boots", ?) > 0 ORDER BY "firstStep"`,
  );
  const readThinned = database
    .prepare<[number], Instant | null>(`SELECT MAX("lastAt") FROM "LogPack" WHERE "feederNo" = ? AND "thinned"`)
    .pluck();
  return { readNext, readAround, readReceived, readOne, readBoots, readThinned };
}

/** The rows of a pack, with their readings where those were read too. */
function packOpener(database: Database.Database): UnpackRows {
  const readId = database.prepare<[number], string>(`SELECT "id" FROM "Feeder" WHERE "no" = ?`).pluck();
  return (feederNo, { lines, readings, ...span }) => {
    try {
      const rows = unpackLines(lines);
      if (readings === null) return rows;
      const ofEach = unpackReadings(readings);
      return rows.map((row, index) => ({ ...row, readings: ofEach[index] ?? null }));
    } catch (cause) {
      throw new PackDamaged(readId.get(feederNo) ?? String(feederNo), span, { cause });
    }
  };
}

function unlessDamaged(open: () => readonly LogRow[]): readonly LogRow[] {
  try {
    return open();
  } catch (error) {
    if (!(error instanceof PackDamaged)) throw error;
    process.emitWarning(`${error.message}; what they have of a repeated report is not known`);
    return [];
  }
}

type UnpackRows = (feederNo: number, pack: StoredPack) => readonly LogRow[];

/** A log is read page by page, and a pack has several pages: it is opened once. */
function rememberingLast(unpacked: UnpackRows): UnpackRows {
  let last: { readonly feederNo: number; readonly pack: StoredPack; readonly rows: readonly LogRow[] } | null = null;
  return (feederNo, pack) => {
    if (last?.feederNo !== feederNo || !isSame(last.pack, pack))
      last = { feederNo, pack, rows: unpacked(feederNo, pack) };
    return last.rows;
  };
}

const isSame = (a: StoredPack, b: StoredPack): boolean =>
  a.firstStep === b.firstStep && a.lines.equals(b.lines) && isSameOrNull(a.readings, b.readings);
const isSameOrNull = (a: Buffer | null, b: Buffer | null): boolean =>
  a === null || b === null ? a === b : a.equals(b);

/** Whether any of these numbers is among those stored as text, such as `3-7 9`. */
export function hasAny(stored: string, seqs: Iterable<number>): boolean {
  const ranges = readRanges(stored);
  for (const seq of seqs) if (ranges.some(({ from, to }) => from <= seq && seq <= to)) return true;
  return false;
}
