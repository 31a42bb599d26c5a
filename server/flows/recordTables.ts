import { type ImportedLine, type ImportedTable, importedLines, importedTables } from "../contract/importedRecord.ts";
import { readReport } from "../contract/readReport.ts";
import { bootLabel } from "../domain/bootNumber.ts";
import { type Instant, instantOf } from "../domain/instant.ts";
import { pictureKindOf } from "../domain/pictures/pictureKind.ts";
import { exportColumns, exportTableNames } from "../domain/training/exportColumns.ts";
import { type OpenArchive, UnreadableArchive } from "../ports.ts";
import { texts } from "../text/index.ts";
import { ownEventLoopTurn } from "./eventLoopTurn.ts";
import { linesOf } from "./pure/recordLines.ts";

/** The tables of an archive, read line by line and checked before anything is stored. */

/** `field`: with the file and the line, such as `notes.jsonl, line 12, at`. */
export interface LineProblem {
  readonly field: string;
  readonly problem: string;
}

export interface RecordFiles {
  readonly archive: OpenArchive;
  /** The file of each table that the archive has. */
  readonly files: ReadonlyMap<ImportedTable, string>;
}

/** So many are named; whoever mends them sees the next. */
const problemsMax = 20;
const tableBytesMax = 1024 ** 3;
const pictureBytesMax = 8 * 1024 ** 2;

/** @returns what is in it, or every problem that keeps it from being read */
export async function checkRecord(archive: OpenArchive, now: Instant): Promise<RecordFiles | readonly LineProblem[]> {
  try {
    const files = await filesOf(archive);
    const problems = files.size === 0 ? [{ field: "file", problem: text.noTable }] : [];
    for (const [table, file] of files) {
      if (problems.length >= problemsMax) break;
      problems.push(...(await tableProblems({ archive, files }, table, file, now)));
    }
    return problems.length === 0 ? { archive, files } : problems.slice(0, problemsMax);
  } catch (error) {
    if (error instanceof UnreadableArchive) return [{ field: "file", problem: text.damaged }];
    throw error;
  }
}

const text = texts.recordImport;

async function filesOf(archive: OpenArchive): Promise<ReadonlyMap<ImportedTable, string>> {
  const whole = importedTables.flatMap((table) => {
    const file = `${table}.jsonl`;
    return archive.entries.has(file) ? [[table, file] as const] : [];
  });
  if (!archive.entries.has("")) return new Map(whole);
  const table = await tableOf(archive);
  return new Map(table === null ? [] : [[table, ""]]);
}

/** Of a single file, by the columns of its first line. */
async function tableOf(archive: OpenArchive): Promise<ImportedTable | null> {
  try {
    for await (const { text: line } of linesOf(archive.read(""))) {
      const columns = Object.keys(JSON.parse(line ?? "null") ?? {}).join();
      const found = exportTableNames.find((table) => exportColumns[table].join() === columns);
      return importedTables.find((table) => table === found) ?? null;
    }
  } catch {
    // no text, or no JSON
  }
  return null;
}

async function tableProblems(
  { archive }: RecordFiles,
  table: ImportedTable,
  file: string,
  now: Instant,
): Promise<readonly LineProblem[]> {
  const named = file === "" ? `${table}.jsonl` : file;
  if ((archive.entries.get(file) ?? 0) > tableBytesMax) return [{ field: named, problem: text.tableTooLarge }];
  const problems: LineProblem[] = [];
  try {
    for await (const { number, text: line } of linesOf(archive.read(file))) {
      if (number % 500 === 0) await ownEventLoopTurn();
      const found = line === null ? [{ field: "", problem: text.lineTooLong }] : lineProblems(table, line, now);
      problems.push(...found.map(({ field, problem }) => ({ field: text.place(named, number, field), problem })));
      if (problems.length >= problemsMax) break;
    }
  } catch (error) {
    if (!(error instanceof TypeError)) throw error;
    return [{ field: named, problem: text.noText }];
  }
  return problems;
}

function lineProblems(table: ImportedTable, line: string, now: Instant): readonly LineProblem[] {
  const posted = jsonOf(line);
  if (posted === undefined) return [{ field: "", problem: text.noJson }];
  const read = importedLines[table].safeParse(posted);
  if (!read.success)
    return read.error.issues.map(({ path, message }) => ({ field: path.map(String).join("."), problem: message }));
  if (table === "events") return eventProblems(read.data as ImportedLine<"events">, now);
  const { at } = read.data as { readonly at?: string };
  return at !== undefined && table !== "stills" && instantOf(at) > now
    ? [{ field: "at", problem: texts.training.refusals.inFuture }]
    : [];
}

function jsonOf(line: string): unknown {
  try {
    return JSON.parse(line);
  } catch {
    return undefined;
  }
}

/** An event must be one that a feeder may send, or its report would be refused. */
function eventProblems({ at, boot, seq, kind, reported }: ImportedLine<"events">, now: Instant): LineProblem[] {
  if (instantOf(at) > now) return [{ field: "at", problem: texts.training.refusals.inFuture }];
  if (reported.seq !== seq || reported.kind !== kind) return [{ field: "reported", problem: text.otherEvent }];
  const read = readReport({ boot: bootLabel(boot), sentUptimeMs: null, events: [reported] });
  const refused = read.kind === "read" ? read.report.refused : read.errors;
  return refused.map(({ field, problem }) => ({ field: `reported.${field.replace(/^events\[0\]\.?/, "")}`, problem }));
}

/** Of a table that was checked. */
export async function* checkedLines<Table extends ImportedTable>(
  { archive, files }: RecordFiles,
  table: Table,
): AsyncGenerator<ImportedLine<Table>> {
  const file = files.get(table);
  if (file === undefined) return;
  for await (const { text: line } of linesOf(archive.read(file)))
    yield importedLines[table].parse(JSON.parse(line as string)) as ImportedLine<Table>;
}

/** @returns null where the archive has no such picture, or it is none */
export async function pictureOf(
  { archive }: RecordFiles,
  folder: "photos" | "stills",
  id: string,
): Promise<Uint8Array | null> {
  const name = `${folder}/${id}.jpg`;
  if ((archive.entries.get(name) ?? Number.POSITIVE_INFINITY) > pictureBytesMax) return null;
  const parts: Uint8Array[] = [];
  for await (const part of archive.read(name)) parts.push(part);
  const picture = Buffer.concat(parts);
  return pictureKindOf(picture) === null ? null : picture;
}
