import type { ImportedLine } from "../contract/importedRecord.ts";
import { instantOf } from "../domain/instant.ts";
import { stillQuota } from "../domain/pictures/stillSpace.ts";
import type { Ports, StillRow, YardRow } from "../ports.ts";
import { ownEventLoopTurn } from "./eventLoopTurn.ts";
import { addPhoto } from "./pictures.ts";
import { checkedLines, pictureOf, type RecordFiles } from "./recordTables.ts";
import { stillHash, stillIdOf } from "./stillsOfEvents.ts";

/** Pictures of an imported record. Each is encoded anew, as any picture that comes from outside. */

export interface ImportedPictures {
  readonly added: number;
  readonly leftOut: number;
}

export interface ImportedStills extends ImportedPictures {
  /** By the id in the archive: the still's id in this yard. */
  readonly ids: ReadonlyMap<string, string>;
}

/** Stills count as arrived now: they are kept for as long as others that came today. */
export async function importStills(
  ports: Ports,
  { id: yard }: YardRow,
  record: RecordFiles,
  feeders: ReadonlyMap<string, string>,
): Promise<ImportedStills> {
  const ids = new Map<string, string>();
  let [added, leftOut] = [0, 0];
  for await (const line of checkedLines(record, "stills")) {
    const feeder = feeders.get(line.feeder) as string;
    const { boot, seq } = line;
    const event = boot === null || seq === null ? null : { boot, seq };
    const id =
      event === null
        ? stillHash("imported", yard, feeder, line.id).digest("hex").slice(0, 32)
        : stillIdOf(yard, feeder, event);
    ids.set(line.id, id);
    if ((await ports.store.stills.still(yard, id)) !== null) continue;
    if (await addImported(ports, record, line, { id, yard, feeder, event })) added += 1;
    else leftOut += 1;
    await ownEventLoopTurn();
  }
  return { ids, added, leftOut };
}

async function addImported(
  { store, clock, pictureFiles, pictureEncoder }: Ports,
  record: RecordFiles,
  line: ImportedLine<"stills">,
  place: Pick<StillRow, "id" | "yard" | "feeder" | "event">,
): Promise<boolean> {
  const picture = await pictureOf(record, "stills", line.id);
  const encoded = picture === null ? "unreadable" : await pictureEncoder.encode(picture);
  if (typeof encoded === "string") return false;
  const { id, yard } = place;
  await pictureFiles.save(yard, id, encoded);
  const { widthPixels, heightPixels, full, small } = encoded;
  const { at, event: eventKind, payment, starred, who, brought } = line;
  const outcome = await store.stills.addStill(
    {
      ...{ ...place, at: instantOf(at), addedAt: clock.now(), eventKind, payment, starred, who, brought },
      ...{ widthPixels, heightPixels, bytes: full.length + small.length },
    },
    stillQuota,
  );
  await pictureFiles.remove(yard, outcome.kind === "added" ? outcome.removed : outcome.kind === "known" ? [] : [id]);
  return outcome.kind === "added" || outcome.kind === "known";
}

export async function importPhotos(
  ports: Ports,
  { id: yard }: YardRow,
  record: RecordFiles,
): Promise<ImportedPictures> {
  let [added, leftOut] = [0, 0];
  for await (const { id, note, by } of checkedLines(record, "photos")) {
    const before = (await ports.store.pictures.usage(yard)).pictures;
    const picture = await pictureOf(record, "photos", id);
    const problem = picture === null ? "unreadable" : await addPhoto(ports, { yard, note, by }, picture);
    if (problem !== null) leftOut += 1;
    else if ((await ports.store.pictures.usage(yard)).pictures > before) added += 1;
    await ownEventLoopTurn();
  }
  return { added, leftOut };
}
