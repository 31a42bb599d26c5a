import { randomUUID } from "node:crypto";
import { createReadStream } from "node:fs";
import { mkdir, open, rm, stat } from "node:fs/promises";
import { join } from "node:path";
import { Readable } from "node:stream";
import { finished } from "node:stream/promises";
import type { Entry, ZipFile as Unzipper } from "yauzl";
import type { ZipFile } from "yazl";
import { type ArchiveEntry, type Archives, type OpenArchive, StoreFull, UnreadableArchive } from "../ports.ts";

/**
 * ZIP by PKWARE's APPNOTE 6.3; sizes beyond 4 GiB by its ZIP64. The libraries are loaded with the first archive.
 * @param folder in which archives wait while they are read; what a crash has left there goes with the first one
 */
export function createZipArchives(folder: string): Archives {
  let isClean = false;
  return {
    write,
    async open(sent, bytesMax) {
      if (!isClean) await rm(folder, { recursive: true, force: true });
      isClean = true;
      await mkdir(folder, { recursive: true, mode: 0o700 });
      const path = join(folder, `${randomUUID()}.new`);
      try {
        const kept = await keep(sent, path, bytesMax);
        if (!kept) return await removed(path, "tooLarge");
        return (await openFile(path)) ?? (await removed(path, "unreadable"));
      } catch (error) {
        await rm(path, { force: true });
        throw (error as NodeJS.ErrnoException).code === "ENOSPC"
          ? new StoreFull("the disk is full; the archive was not stored", { cause: error })
          : error;
      }
    },
  };
}

async function removed<Why>(path: string, why: Why): Promise<Why> {
  await rm(path, { force: true });
  return why;
}

/** @returns false where there is more than that */
async function keep(sent: AsyncIterable<Uint8Array>, path: string, bytesMax: number): Promise<boolean> {
  const file = await open(path, "wx", 0o600);
  let bytes = 0;
  try {
    for await (const chunk of sent) {
      bytes += chunk.length;
      if (bytes > bytesMax) return false;
      await file.writeFile(chunk);
    }
    return true;
  } finally {
    await file.close();
  }
}

/** Of an archive with more entries than any yard has pictures, nothing is read. */
const entriesMax = 20_000;

async function openFile(path: string): Promise<OpenArchive | null> {
  if (!(await isZip(path))) return singleFile(path);
  const yauzl = await import("yauzl");
  const zip = await new Promise<Unzipper | null>((resolve) =>
    yauzl.open(path, { lazyEntries: true, autoClose: false }, (error, opened) => resolve(error ? null : opened)),
  );
  if (zip === null) return null;
  const entries = await entriesOf(zip);
  if (entries === null) {
    zip.close();
    return null;
  }
  return {
    entries: new Map([...entries].map(([name, { uncompressedSize }]) => [name, uncompressedSize])),
    read: (name) => readEntry(zip, entries.get(name)),
    async close() {
      zip.close();
      await rm(path, { force: true });
    },
  };
}

async function isZip(path: string): Promise<boolean> {
  const file = await open(path, "r");
  try {
    const { buffer } = await file.read(Buffer.alloc(4), 0, 4, 0);
    return buffer.readUInt32LE() === 0x04034b50; // signature of a local file header
  } finally {
    await file.close();
  }
}

const singleFile = async (path: string): Promise<OpenArchive> => ({
  entries: new Map([["", (await stat(path)).size]]),
  read: () => createReadStream(path),
  close: () => rm(path, { force: true }),
});

function entriesOf(zip: Unzipper): Promise<ReadonlyMap<string, Entry> | null> {
  const found = new Map<string, Entry>();
  return new Promise((resolve) => {
    zip.on("error", () => resolve(null));
    zip.on("end", () => resolve(found));
    zip.on("entry", (entry: Entry) => {
      found.set(entry.fileName, entry);
      if (found.size > entriesMax) resolve(null);
      else zip.readEntry();
    });
    zip.readEntry();
  });
}

async function* readEntry(zip: Unzipper, entry: Entry | undefined): AsyncGenerator<Uint8Array> {
  if (entry === undefined) throw new RangeError("expected the name of an entry");
  try {
    const stream = await new Promise<Readable>((resolve, reject) =>
      zip.openReadStream(entry, (error, opened) => (error ? reject(error) : resolve(opened))),
    );
    for await (const chunk of stream) yield chunk as Uint8Array;
  } catch (error) {
    throw new UnreadableArchive(`${entry.fileName} can't be unpacked`, { cause: error });
  }
}

async function* write(entries: AsyncIterable<ArchiveEntry>): AsyncGenerator<Uint8Array> {
  const { ZipFile: Zip } = await import("yazl");
  const zip = new Zip();
  const output = zip.outputStream as Readable;
  const adding = addAll(zip, entries).catch((error: unknown) => {
    output.destroy(error as Error);
  });
  try {
    for await (const chunk of output) yield chunk as Uint8Array;
  } finally {
    output.destroy();
    await adding;
  }
}

async function addAll(zip: ZipFile, entries: AsyncIterable<ArchiveEntry>): Promise<void> {
  for await (const entry of entries) {
    await add(zip, entry);
    if ((zip.outputStream as Readable).destroyed) return; // nobody reads on
  }
  zip.end();
}

/** The next entry is asked for when this one has been read: what is not yet written stays where it is. */
async function add(zip: ZipFile, { name, at, isText, contents }: ArchiveEntry): Promise<void> {
  const source = Readable.from(contents(), { objectMode: false });
  const output = zip.outputStream as Readable;
  const stop = () => source.destroy();
  output.once("close", stop);
  zip.addReadStreamLazy(name, { mtime: new Date(at), compress: isText }, (open) => open(null, source));
  try {
    await finished(source);
  } catch (error) {
    // Whoever read the archive may have gone.
    if ((error as NodeJS.ErrnoException).code !== "ERR_STREAM_PREMATURE_CLOSE") throw error;
  } finally {
    output.off("close", stop);
  }
}
