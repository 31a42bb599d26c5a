import { hasSpace } from "../../domain/pictures/pictureSpace.ts";
import type { PictureRow, PictureStore } from "../../ports.ts";
import type { Picture } from "./generated/sqlite/client.ts";
import type { Connections, Statements } from "./openStore.ts";
import { dateOf, instantFrom } from "./rows.ts";

const keyOf = (yard: string, id: string) => ({ yardId_id: { yardId: yard, id } });

export const createPictureStore = (connections: Connections): PictureStore => ({
  ...reads(connections),
  ...changes(connections),
});

type Change = "addPicture" | "removePicture";

const reads = ({ reader }: Connections): Omit<PictureStore, Change> => ({
  async picturesOf(yard, notes) {
    const found = await reader.picture.findMany({
      where: { yardId: yard, noteId: { in: [...notes] } },
      orderBy: [{ addedAt: "asc" }, { id: "asc" }],
    });
    return found.map(pictureFrom);
  },

  async picture(yard, id) {
    const found = await reader.picture.findUnique({ where: keyOf(yard, id) });
    return found === null ? null : pictureFrom(found);
  },

  usage: (yard) => usageOf(reader, yard),

  async allPictures() {
    const found = await reader.picture.findMany({
      select: { yardId: true, id: true },
      orderBy: [{ yardId: "asc" }, { id: "asc" }],
    });
    return found.map(({ yardId, id }) => ({ yard: yardId, id }));
  },
});

const changes = ({ write, eraseRemoved }: Connections): Pick<PictureStore, Change> => ({
  addPicture: (picture, most) =>
    write(async (statements) => {
      const { id, yard, note, addedAt, by, widthPixels, heightPixels } = picture;
      const select = { id: true };
      if ((await statements.picture.findUnique({ where: keyOf(yard, id), select })) !== null) return "known";
      if ((await statements.note.findUnique({ where: keyOf(yard, note), select })) === null) return "noNote";
      if (!hasSpace(await usageOf(statements, yard), picture.bytes, most)) return "full";
      const bytes = BigInt(picture.bytes);
      const data = { id, yardId: yard, noteId: note, addedAt: dateOf(addedAt), by, widthPixels, heightPixels, bytes };
      await statements.picture.create({ data });
      return "added";
    }),

  async removePicture(yard, id) {
    const { count } = await write((statements) => statements.picture.deleteMany({ where: { yardId: yard, id } }));
    if (count > 0) await eraseRemoved();
    return count > 0;
  },
});

async function usageOf(reader: Pick<Statements, "picture">, yard: string) {
  const { _count, _sum } = await reader.picture.aggregate({
    where: { yardId: yard },
    _count: true,
    _sum: { bytes: true },
  });
  return { pictures: _count, bytes: Number(_sum.bytes ?? 0n) };
}

const pictureFrom = ({ id, yardId, noteId, addedAt, ...row }: Picture): PictureRow => ({
  ...{ id, yard: yardId, note: noteId, addedAt: instantFrom(addedAt), by: row.by },
  ...{ widthPixels: row.widthPixels, heightPixels: row.heightPixels, bytes: Number(row.bytes) },
});
