import { Readable } from "node:stream";
import { finished } from "node:stream/promises";
import type { ZipFile } from "yazl";
import type { ArchiveEntry, Archives } from "../ports.ts";

/** ZIP by PKWARE's APPNOTE 6.3; sizes beyond 4 GiB by its ZIP64. The library is loaded with the first archive. */
export const createZipArchives = (): Archives => ({ write });

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
