import type { Instant } from "../domain/instant.ts";
import type { PictureUsage } from "../domain/pictures/pictureSpace.ts";

/** Pictures of a yard: their rows, their files, and what makes the files. */

export interface PictureRow {
  readonly id: string;
  readonly yard: string;
  readonly note: string; // the note that it is part of
  readonly addedAt: Instant;
  readonly by: string;
  readonly widthPixels: number; // of the full size
  readonly heightPixels: number;
  readonly bytes: number; // of all its files
}

export interface PictureStore {
  /** Those of these notes, in the order in which they were added. */
  picturesOf(yard: string, notes: readonly string[]): Promise<readonly PictureRow[]>;
  picture(yard: string, id: string): Promise<PictureRow | null>;
  usage(yard: string): Promise<PictureUsage>;
  /**
   * @param most the yard's quota, with this picture
   * @returns `known` where the yard has a picture with this id already; nothing is stored then, nor without the note or the space
   */
  addPicture(picture: PictureRow, most: PictureUsage): Promise<"added" | "known" | "noNote" | "full">;
  /** Its files stay: the flow removes them. @returns false where there is no such picture */
  removePicture(yard: string, id: string): Promise<boolean>;
  /** Of all yards, by yard and id. */
  allPictures(): Promise<readonly Pick<PictureRow, "yard" | "id">[]>;
}

export type PictureSize = "full" | "small";

export interface PictureContents {
  /** JPEG. */
  readonly full: Uint8Array;
  readonly small: Uint8Array;
}

/** The files of pictures. A picture's content never changes. */
export interface PictureFiles {
  /** Once it resolves, both sizes are on the disk. @throws StoreFull */
  save(yard: string, id: string, contents: PictureContents): Promise<void>;
  /** @returns null where there is no such file */
  read(yard: string, id: string, size: PictureSize): Promise<Uint8Array | null>;
  remove(yard: string, ids: readonly string[]): Promise<void>;
  removeYard(yard: string): Promise<void>;
  /**
   * Removes the files of pictures that aren't known, where they were written before that moment: a younger one may be about to get
   * its row. @returns how many files were removed
   */
  removeUnknown(known: readonly Pick<PictureRow, "yard" | "id">[], writtenBefore: Instant): Promise<number>;
}

export interface EncodedPicture extends PictureContents {
  readonly widthPixels: number;
  readonly heightPixels: number;
}

export interface PictureEncoder {
  /**
   * Makes the stored sizes of a picture as it was sent, upright, without anything that isn't its pixels: no place, no time, no camera.
   * @returns why it can't
   */
  encode(sent: Uint8Array): Promise<EncodedPicture | "unreadable" | "tooManyPixels">;
}
