import type { ExportKeyStore } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { addRow, changeWhere, compareBy, rowOf, rowsWhere } from "./tables.ts";

export const createExportKeys = ({ read, write }: Access): ExportKeyStore => ({
  async exportKeysOf(person) {
    const found = rowsWhere(read().exportKeys, (key) => key.person === person);
    return found.sort(
      compareBy(
        ({ createdAt }) => createdAt,
        ({ id }) => id,
      ),
    );
  },
  addExportKey: (key, most) =>
    write(({ exportKeys, people }) => {
      if (rowsWhere(exportKeys, ({ person }) => person === key.person).length >= most) return false;
      rowOf(people, key.person);
      addRow(exportKeys, key.id, key);
      return true;
    }),
  async exportKeyWith(keyHash, now) {
    const [found] = rowsWhere(read().exportKeys, (key) => key.keyHash === keyHash && key.expiresAt > now);
    if (found === undefined) return null;
    const { id, name } = rowOf(read().people, found.person);
    return { id: found.id, person: { id, name }, lastUsedAt: found.lastUsedAt };
  },
  touchExportKey: (id, now) =>
    write(({ exportKeys }) => changeWhere(exportKeys, (key) => key.id === id, { lastUsedAt: now })),
  removeExportKey: (person, id) =>
    write(({ exportKeys }) => exportKeys.get(id)?.person === person && exportKeys.delete(id)),
});
