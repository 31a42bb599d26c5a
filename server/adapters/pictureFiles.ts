import { mkdir, open, readdir, readFile, rename, rm, rmdir, stat } from "node:fs/promises";
import { join } from "node:path";
import type { Instant } from "../domain/instant.ts";
import { type PictureFiles, type PictureRow, type PictureSize, StoreFull } from "../ports.ts";

/** A folder for each yard, and in it two files for each picture. */

const sizes: readonly PictureSize[] = ["full", "small"];
/** A name that is part of a path: nothing that leads out of its folder. */
const safeName = /^[A-Za-z0-9_-]{1,64}$/;
/** While it is written. A file with this ending is never read. */
const unfinished = ".new";

/** @param folder made with the first picture. Only the owner can read it, by the process's umask as all data files. */
export function createPictureFiles(folder: string): PictureFiles {
  const yardFolder = (yard: string) => join(folder, checked(yard));
  const pathOf = (yard: string, id: string, size: PictureSize) => join(yardFolder(yard), fileName(id, size));
  return {
    save: async (yard, id, contents) => {
      const into = yardFolder(yard);
      try {
        await mkdir(into, { recursive: true, mode: 0o700 });
        for (const size of sizes) await writeWhole(pathOf(yard, id, size), contents[size]);
        for (const written of [into, folder]) await flush(written);
      } catch (error) {
        throw isFull(error) ? new StoreFull("the disk is full; the picture was not stored", { cause: error }) : error;
      }
    },
    read: (yard, id, size) => unlessMissing(readFile(pathOf(yard, id, size))),
    async remove(yard, ids) {
      for (const id of ids) for (const size of sizes) await rm(pathOf(yard, id, size), { force: true });
    },
    removeYard: (yard) => rm(yardFolder(yard), { recursive: true, force: true }),
    removeUnknown: (known, writtenBefore) => removeUnknown(folder, known, writtenBefore),
  };
}

function checked(name: string): string {
  if (!safeName.test(name)) throw new RangeError(`expected a name of letters, digits, _ and -, got ${name}`);
  return name;
}

const fileName = (id: string, size: PictureSize) => `${checked(id)}.${size}.jpg`;

/** Its name appears once all of its content is on the disk: a crash leaves no half picture under it. */
async function writeWhole(path: string, content: Uint8Array): Promise<void> {
  const file = await open(`${path}${unfinished}`, "w", 0o600);
  try {
    await file.writeFile(content);
    await file.sync();
  } finally {
    await file.close();
  }
  await rename(`${path}${unfinished}`, path);
}

async function flush(folder: string): Promise<void> {
  const opened = await open(folder, "r");
  try {
    await opened.sync();
  } finally {
    await opened.close();
  }
}

async function removeUnknown(
  folder: string,
  known: readonly Pick<PictureRow, "yard" | "id">[],
  writtenBefore: Instant,
): Promise<number> {
  const wanted = new Set(known.flatMap(({ yard, id }) => sizes.map((size) => join(yard, fileName(id, size)))));
  let removed = 0;
  for (const yard of (await unlessMissing(readdir(folder))) ?? []) {
    for (const name of await readdir(join(folder, yard))) {
      const path = join(folder, yard, name);
      if (wanted.has(join(yard, name)) || (await stat(path)).mtimeMs >= writtenBefore) continue;
      await rm(path);
      removed += 1;
    }
    await removeEmpty(join(folder, yard));
  }
  return removed;
}

/** A yard that was removed while a picture arrived leaves its folder. */
async function removeEmpty(folder: string): Promise<void> {
  try {
    await rmdir(folder);
  } catch (error) {
    if (!["ENOTEMPTY", "EEXIST"].includes(codeOf(error) ?? "")) throw error;
  }
}

async function unlessMissing<T>(reading: Promise<T>): Promise<T | null> {
  try {
    return await reading;
  } catch (error) {
    if (codeOf(error) === "ENOENT") return null;
    throw error;
  }
}

const codeOf = (error: unknown) => (error as NodeJS.ErrnoException).code;
const isFull = (error: unknown) => ["ENOSPC", "EDQUOT"].includes(codeOf(error) ?? "");
