import { type Instant, isoOf } from "../domain/instant.ts";
import {
  csvLine,
  type ExportTable,
  exportColumns,
  exportTableNames,
  jsonLine,
} from "../domain/training/exportColumns.ts";
import type { ArchiveEntry, Ports, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { photoPages, stillPages } from "./pictureRows.ts";
import { inBlocks } from "./pure/inBlocks.ts";
import { trainingRows } from "./trainingExport.ts";

/** The training record as files: each table in two formats, a dictionary, and all of it with the pictures in one archive. */

type Stored = Pick<Ports, "store" | "clock" | "pictureFiles">;

export const fileFormats = ["csv", "jsonl"] as const;
export type FileFormat = (typeof fileFormats)[number];

/** @returns the table's lines, in blocks */
export const trainingFile = (
  ports: Stored,
  yard: YardRow,
  table: ExportTable,
  format: FileFormat,
): AsyncGenerator<string> => inBlocks(fileLines(table, format, trainingRows(ports, yard, table)));

async function* fileLines(
  table: ExportTable,
  format: FileFormat,
  rows: ReturnType<typeof trainingRows>,
): AsyncGenerator<string> {
  if (format === "csv") yield csvLine(exportColumns[table]);
  for await (const row of rows) yield format === "csv" ? csvLine(row) : jsonLine(table, row);
}

export const trainingDictionary = (now: Instant, licence: string | null) => ({
  exportedAt: isoOf(now),
  licence,
  notes: texts.trainingExport.notes(),
  tables: Object.fromEntries(
    exportTableNames.map((table) => [
      table,
      exportColumns[table].map((name) => ({ name, ...texts.trainingExport.column(table, name) })),
    ]),
  ),
});

/** The dictionary first, then the tables, then the pictures, each by its id. */
export async function* archiveEntries(
  ports: Stored,
  yard: YardRow,
  licence: string | null,
): AsyncGenerator<ArchiveEntry> {
  const at = ports.clock.now();
  const dictionary = `${JSON.stringify(trainingDictionary(at, licence), null, 2)}\n`;
  yield { name: dictionaryName, at, isText: true, contents: () => once(dictionary) };
  for (const table of exportTableNames) {
    for (const format of fileFormats) {
      const contents = () => trainingFile(ports, yard, table, format);
      yield { name: `${table}.${format}`, at, isText: true, contents };
    }
  }
  for await (const page of photoPages(ports, yard.id))
    yield* pictures(ports, yard, "photos", page, ({ addedAt }) => addedAt);
  for await (const page of stillPages(ports, yard.id))
    yield* pictures(ports, yard, "stills", page, (still) => still.at);
}

const dictionaryName = "dictionary.json";

async function* once(text: string | Uint8Array): AsyncGenerator<string | Uint8Array> {
  yield text;
}

/** One whose file is missing is left out: its row says so. */
async function* pictures<Row extends { readonly id: string }>(
  { pictureFiles }: Stored,
  { id: yard }: YardRow,
  folder: "photos" | "stills",
  rows: readonly Row[],
  atOf: (row: Row) => Instant,
): AsyncGenerator<ArchiveEntry> {
  for (const row of rows) {
    const picture = await pictureFiles.read(yard, row.id, "full");
    if (picture === null) continue;
    yield { name: `${folder}/${row.id}.jpg`, at: atOf(row), isText: false, contents: () => once(picture) };
  }
}
