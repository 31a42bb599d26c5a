import type { PasskeyRow, PasskeyStore } from "../../ports.ts";
import type { Passkey } from "./generated/sqlite/client.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom } from "./rows.ts";

export function createPasskeyStore({ reader, write }: Connections): PasskeyStore {
  return {
    async passkeysOf(keeper) {
      const rows = await reader.passkey.findMany({
        where: { keeperId: keeper },
        orderBy: [{ createdAt: "asc" }, { id: "asc" }],
      });
      return rows.map(passkeyOf);
    },

    async passkeyWith(credentialId) {
      const found = await reader.passkey.findUnique({ where: { credentialId }, include: { keeper: true } });
      return found && { ...passkeyOf(found), name: found.keeper.name };
    },

    addPasskey: ({ keeper, transports, counter, createdAt, lastUsedAt, ...said }, most) =>
      write(async (statements) => {
        if (await statements.passkey.findUnique({ where: { credentialId: said.credentialId } })) return "known";
        if ((await statements.passkey.count({ where: { keeperId: keeper } })) >= most) return "tooMany";
        await statements.passkey.create({
          data: {
            ...said,
            keeperId: keeper,
            counter: BigInt(counter),
            transports: JSON.stringify(transports),
            createdAt: dateOf(createdAt),
            lastUsedAt: lastUsedAt === null ? null : dateOf(lastUsedAt),
          },
        });
        return "added";
      }),

    usePasskey: (id, counter, now) =>
      write(async (statements) => {
        const before = counter === 0 ? { counter: 0n } : { counter: { lt: BigInt(counter) } };
        const used = await statements.passkey.updateMany({
          where: { id, ...before },
          data: { counter: BigInt(counter), lastUsedAt: dateOf(now) },
        });
        return used.count > 0;
      }),

    renamePasskey: (keeper, id, label) =>
      write(async (statements) => {
        return (await statements.passkey.updateMany({ where: { id, keeperId: keeper }, data: { label } })).count > 0;
      }),

    removePasskey: (keeper, id) =>
      write(async (statements) => {
        return (await statements.passkey.deleteMany({ where: { id, keeperId: keeper } })).count > 0;
      }),
  };
}

function passkeyOf({ keeperId, counter, transports, createdAt, lastUsedAt, ...said }: Passkey): PasskeyRow {
  return {
    id: said.id,
    credentialId: said.credentialId,
    publicKey: said.publicKey,
    label: said.label,
    synced: said.synced,
    keeper: keeperId,
    counter: Number(counter), // 32 bits at most
    transports: JSON.parse(transports),
    createdAt: instantFrom(createdAt),
    lastUsedAt: lastUsedAt === null ? null : instantFrom(lastUsedAt),
  };
}
