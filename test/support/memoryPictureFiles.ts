import type { Clock, PictureFiles, PictureSize } from "../../server/ports.ts";

interface MemoryPictureFiles extends PictureFiles {
  /** The paths of the files there are, in order. */
  paths(): readonly string[];
}

const sizes: readonly PictureSize[] = ["full", "small"];

/** The files of pictures in memory; a test of both (test/adapters/pictureFiles.test.ts) keeps them the same. */
export function memoryPictureFiles(clock: Clock): MemoryPictureFiles {
  const files = new Map<string, { readonly content: Uint8Array; readonly writtenAt: number }>();
  const pathOf = (yard: string, id: string, size: PictureSize) => `${yard}/${id}.${size}.jpg`;
  const removeWhere = (isUnwanted: (path: string) => boolean) => {
    const paths = [...files.keys()].filter(isUnwanted);
    for (const path of paths) files.delete(path);
    return paths.length;
  };
  return {
    paths: () => [...files.keys()].sort(),
    async save(yard, id, contents) {
      for (const size of sizes) files.set(pathOf(yard, id, size), { content: contents[size], writtenAt: clock.now() });
    },
    read: async (yard, id, size) => files.get(pathOf(yard, id, size))?.content ?? null,
    async remove(yard, ids) {
      for (const id of ids) for (const size of sizes) files.delete(pathOf(yard, id, size));
    },
    async removeYard(yard) {
      removeWhere((path) => path.startsWith(`${yard}/`));
    },
    async removeUnknown(known, writtenBefore) {
      const wanted = new Set(known.flatMap(({ yard, id }) => sizes.map((size) => pathOf(yard, id, size))));
      return removeWhere((path) => !wanted.has(path) && (files.get(path)?.writtenAt ?? 0) < writtenBefore);
    },
  };
}
