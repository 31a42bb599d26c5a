import { createHash } from "node:crypto";
import { after, days, type Instant, isoOf, milliseconds } from "../domain/instant.ts";
import type { ExportRow } from "../domain/training/exportColumns.ts";
import type { NoteRow, PictureRow, Ports, RowPlace, StillRow } from "../ports.ts";

/** Notes, their photographs and the feeders' stills as rows of the training record's export, the newest first. */

type Stored = Pick<Ports, "store" | "clock" | "pictureFiles">;

const rowsAtOnce = 200;

/** All rows of a list that goes backwards in time, a page at a time. */
async function* allPages<Row extends RowPlace>(
  begin: Instant,
  read: (before: Instant | RowPlace) => Promise<readonly Row[]>,
): AsyncGenerator<readonly Row[]> {
  for (let before: Instant | RowPlace = begin; ; ) {
    const page = await read(before);
    yield page;
    const last = page.at(-1);
    if (last === undefined || page.length < rowsAtOnce) return;
    before = last;
  }
}

const notePages = ({ store, clock }: Pick<Stored, "store" | "clock">, yard: string) =>
  allPages<NoteRow>(after(clock.now(), milliseconds(1)), (before) => store.training.notes(yard, before, rowsAtOnce));

/** A feeder's clock may be ahead. */
export const stillPages = ({ store, clock }: Pick<Stored, "store" | "clock">, yard: string) =>
  allPages<StillRow>(after(clock.now(), days(1)), (before) => store.stills.stills(yard, before, rowsAtOnce));

export async function* photoPages(ports: Pick<Stored, "store" | "clock">, yard: string) {
  for await (const page of notePages(ports, yard)) {
    const notes = page.map(({ id }) => id);
    yield await ports.store.pictures.picturesOf(yard, notes);
  }
}

export async function* noteRows(ports: Pick<Stored, "store" | "clock">, yard: string): AsyncGenerator<ExportRow> {
  for await (const page of notePages(ports, yard)) yield* page.map(noteRow);
}

const noteRow = ({ id, at, by, text, feeder, stage, still, capsOnDish, changedAt }: NoteRow): ExportRow => [
  ...[isoOf(at), by, text, feeder, stage, still?.event?.boot ?? null, still?.event?.seq ?? null, capsOnDish],
  ...[changedAt === null ? null : isoOf(changedAt), id, still?.id ?? null],
];

export async function* photoRows(ports: Stored, yard: string): AsyncGenerator<ExportRow> {
  for await (const page of photoPages(ports, yard)) for (const photo of page) yield await photoRow(ports, photo);
}

const photoRow = async ({ pictureFiles }: Stored, { id, yard, note, addedAt, by }: PictureRow): Promise<ExportRow> => [
  ...[note, isoOf(addedAt), by, `/api/v1/yards/${yard}/pictures/${id}`],
  ...[await hashOfFile(pictureFiles, yard, id), id],
];

export async function* stillRows(ports: Stored, yard: string): AsyncGenerator<ExportRow> {
  for await (const page of stillPages(ports, yard)) for (const still of page) yield await stillRow(ports, still);
}

async function stillRow({ pictureFiles }: Stored, still: StillRow): Promise<ExportRow> {
  const { id, yard, feeder, at, event, eventKind, payment, who, brought, starred } = still;
  return [
    ...[feeder, isoOf(at), event?.boot ?? null, event?.seq ?? null, eventKind, payment, who, brought],
    ...[starred ? 1 : 0, `/api/v1/yards/${yard}/stills/${id}/picture`],
    ...[await hashOfFile(pictureFiles, yard, id), id],
  ];
}

async function hashOfFile(files: Stored["pictureFiles"], yard: string, id: string): Promise<string | null> {
  const picture = await files.read(yard, id, "full");
  return picture === null ? null : createHash("sha256").update(picture).digest("hex");
}
