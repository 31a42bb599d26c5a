import { hasSpace } from "../../../server/domain/pictures/pictureSpace.ts";
import type { PictureRow, PictureStore } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { keyOf, rowsWhere, type Tables } from "./tables.ts";

const inOrder = (a: string, b: string) => (a < b ? -1 : 1);

export const createPictures = ({ read, write }: Access): PictureStore => ({
  async picturesOf(yard, notes) {
    const found = rowsWhere(read().pictures, (picture) => picture.yard === yard && notes.includes(picture.note));
    return found.sort((a, b) => a.addedAt - b.addedAt || inOrder(a.id, b.id));
  },
  picture: async (yard, id) => read().pictures.get(keyOf(yard, id)) ?? null,
  usage: async (yard) => usageOf(read(), yard),
  addPicture: (picture, most) =>
    write((tables) => {
      const key = keyOf(picture.yard, picture.id);
      if (tables.pictures.has(key)) return "known";
      if (!tables.notes.has(keyOf(picture.yard, picture.note))) return "noNote";
      if (!hasSpace(usageOf(tables, picture.yard), picture.bytes, most)) return "full";
      tables.pictures.set(key, picture);
      return "added";
    }),
  removePicture: (yard, id) => write(({ pictures }) => pictures.delete(keyOf(yard, id))),
  async allPictures() {
    const found = [...read().pictures.values()].map(({ yard, id }) => ({ yard, id }));
    return found.sort((a, b) => inOrder(keyOf(a.yard, a.id), keyOf(b.yard, b.id)));
  },
});

function usageOf({ pictures }: Tables, yard: string) {
  const found: readonly PictureRow[] = rowsWhere(pictures, (picture) => picture.yard === yard);
  return { pictures: found.length, bytes: found.reduce((sum, { bytes }) => sum + bytes, 0) };
}
