import { fromBuffer, type ZipFile } from "yauzl";

export async function whole(chunks: AsyncIterable<Uint8Array>): Promise<Buffer> {
  const parts: Uint8Array[] = [];
  for await (const chunk of chunks) parts.push(chunk);
  return Buffer.concat(parts);
}

/** Read by a library of its own. */
export async function unzipped(zip: Buffer): Promise<ReadonlyMap<string, Buffer>> {
  const found = new Map<string, Buffer>();
  const file = await new Promise<ZipFile>((resolve, reject) =>
    fromBuffer(zip, { lazyEntries: true }, (error, opened) => (error ? reject(error) : resolve(opened))),
  );
  await new Promise<void>((resolve, reject) => {
    file.on("error", reject).on("end", resolve);
    file.on("entry", (one) =>
      file.openReadStream(one, (error, stream) => {
        if (error) return reject(error);
        void whole(stream).then((content) => {
          found.set(one.fileName, content);
          file.readEntry();
        }, reject);
      }),
    );
    file.readEntry();
  });
  return found;
}
