import { readFile, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { promisify } from "node:util";
import { brotliCompress, constants, gzip } from "node:zlib";

const [brotli, gzipped] = [promisify(brotliCompress), promisify(gzip)];

/** Files that compression makes smaller; pictures are compressed already. */
const isText = (path: string) => /\.(js|css|html|svg|webmanifest)$/.test(path);

/** Writes a brotli and a gzip form of each text file, as small as possible: the server sends the one that a browser accepts. */
export async function compressFiles(folder: string, paths: readonly string[]): Promise<void> {
  await Promise.all(
    paths.filter(isText).map(async (path) => {
      const content = await readFile(join(folder, path));
      const { BROTLI_PARAM_QUALITY, BROTLI_PARAM_SIZE_HINT, BROTLI_MAX_QUALITY } = constants;
      const params = { [BROTLI_PARAM_QUALITY]: BROTLI_MAX_QUALITY, [BROTLI_PARAM_SIZE_HINT]: content.length };
      await writeFile(join(folder, `${path}.br`), await brotli(content, { params }));
      await writeFile(join(folder, `${path}.gz`), await gzipped(content, { level: constants.Z_BEST_COMPRESSION }));
    }),
  );
}
