import type { ExportKeyStore } from "../../ports.ts";
import type { ExportKey } from "./generated/sqlite/client.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom, maybeInstant } from "./rows.ts";

export const createExportKeyStore = ({ reader, write }: Connections): ExportKeyStore => ({
  async exportKeysOf(person) {
    const found = await reader.exportKey.findMany({
      where: { keeperId: person },
      orderBy: [{ createdAt: "asc" }, { id: "asc" }],
    });
    return found.map(keyFrom);
  },

  addExportKey: ({ person, createdAt, expiresAt, lastUsedAt, ...same }, most) =>
    write(async (statements) => {
      if ((await statements.exportKey.count({ where: { keeperId: person } })) >= most) return false;
      await statements.exportKey.create({
        data: {
          ...same,
          keeperId: person,
          createdAt: dateOf(createdAt),
          expiresAt: dateOf(expiresAt),
          lastUsedAt: lastUsedAt === null ? null : dateOf(lastUsedAt),
        },
      });
      return true;
    }),

  async exportKeyWith(keyHash, now) {
    const found = await reader.exportKey.findFirst({
      where: { keyHash, expiresAt: { gt: dateOf(now) } },
      include: { keeper: { select: { id: true, name: true } } },
    });
    if (found === null) return null;
    const { id, keeper, lastUsedAt } = found;
    return { id, person: keeper, lastUsedAt: maybeInstant(lastUsedAt) };
  },

  touchExportKey: (id, now) =>
    write(async (statements) => {
      await statements.exportKey.updateMany({ where: { id }, data: { lastUsedAt: dateOf(now) } });
    }),

  removeExportKey: (person, id) =>
    write(async (statements) => {
      return (await statements.exportKey.deleteMany({ where: { id, keeperId: person } })).count > 0;
    }),
});

const keyFrom = ({ keeperId, createdAt, expiresAt, lastUsedAt, ...same }: ExportKey) => ({
  ...same,
  person: keeperId,
  createdAt: instantFrom(createdAt),
  expiresAt: instantFrom(expiresAt),
  lastUsedAt: maybeInstant(lastUsedAt),
});
