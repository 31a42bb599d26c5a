import { createHash } from "node:crypto";
import { before, hours } from "../domain/instant.ts";
import { pictureKindOf } from "../domain/pictures/pictureKind.ts";
import { hasSpace, pictureQuota } from "../domain/pictures/pictureSpace.ts";
import type { PictureFiles, PictureRow, PictureSize, Ports } from "../ports.ts";

/** Photographs in the notebook of a yard. */

type PicturePorts = Pick<Ports, "clock" | "store" | "pictureFiles" | "pictureEncoder">;

export type PhotoProblem = "noNote" | "full" | "otherKind" | "unreadable" | "tooManyPixels";

/**
 * Adds a photograph to a note. The same one again is the same: the client repeats it after a lost answer.
 *
 * The files come before their row. A crash in between leaves files that nothing shows, which the next sweep removes.
 * @returns null where it is stored
 */
export async function addPhoto(
  ports: PicturePorts,
  { yard, note, by }: Pick<PictureRow, "yard" | "note" | "by">,
  sent: Uint8Array,
): Promise<PhotoProblem | null> {
  const { store, pictureFiles: files } = ports;
  if (!(await store.training.hasNote(yard, note))) return "noNote";
  if (pictureKindOf(sent) === null) return "otherKind";
  const id = pictureId(yard, note, sent);
  const known = await store.pictures.picture(yard, id);
  if (known !== null && (await files.read(yard, id, "full")) !== null) return null;
  // Before the work, too: a yard without space must not cost any.
  if (known === null && !hasSpace(await store.pictures.usage(yard), 0)) return "full";
  const encoded = await ports.pictureEncoder.encode(sent);
  if (typeof encoded === "string") return encoded;
  await files.save(yard, id, encoded);
  const { widthPixels, heightPixels, full, small } = encoded;
  const row = { id, yard, note, by, addedAt: ports.clock.now(), widthPixels, heightPixels };
  const outcome = await store.pictures.addPicture({ ...row, bytes: full.length + small.length }, pictureQuota);
  if (outcome === "added" || outcome === "known") return null;
  await files.remove(yard, [id]);
  return outcome;
}

/** By its content and its place, so that neither another yard nor another note shares its files. */
const pictureId = (yard: string, note: string, sent: Uint8Array): string =>
  createHash("sha256")
    .update(JSON.stringify([yard, note]))
    .update(sent)
    .digest("hex")
    .slice(0, 32);

/** @returns the file and what it must be known by; null where the yard has no such picture */
export async function pictureFile(
  { store, pictureFiles }: PicturePorts,
  yard: string,
  id: string,
  size: PictureSize,
): Promise<{ readonly tag: string; readonly read: () => Promise<Uint8Array | null> } | null> {
  const row = await store.pictures.picture(yard, id);
  // A picture's content stays as it is; one that was deleted and added again may come from another version of the encoder.
  return row === null ? null : { tag: `"${id}-${size}-${row.addedAt}"`, read: () => pictureFiles.read(yard, id, size) };
}

/** @returns false where there is no such picture */
export async function removePicture(ports: PicturePorts, yard: string, id: string): Promise<boolean> {
  if (!(await ports.store.pictures.removePicture(yard, id))) return false;
  await ports.pictureFiles.remove(yard, [id]);
  return true;
}

/** Removes a note with its photographs. @returns false where there is no such note */
export async function removeNote(ports: PicturePorts, yard: string, note: string): Promise<boolean> {
  const pictures = await ports.store.pictures.picturesOf(yard, [note]);
  if (!(await ports.store.training.removeNote(yard, note))) return false;
  const ids = pictures.map(({ id }) => id);
  await ports.pictureFiles.remove(yard, ids);
  return true;
}

/** After the commit that removed these yards. */
export async function removePicturesOf(files: PictureFiles, yards: readonly string[]): Promise<void> {
  for (const yard of yards) await files.removeYard(yard);
}

/** A picture gets its row within seconds of its files. Our choice. */
const sweptAfter = hours(1);

/** Removes files without a row: of a picture that a crash interrupted, or of one that was removed when a crash came. */
export async function sweepPictures({ clock, store, pictureFiles }: PicturePorts): Promise<number> {
  const known = [...(await store.pictures.allPictures()), ...(await store.stills.allStills())];
  return pictureFiles.removeUnknown(known, before(clock.now(), sweptAfter));
}
