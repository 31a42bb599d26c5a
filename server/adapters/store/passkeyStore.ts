import type { AddPasskeyResult, PasskeyRow, PasskeyStore } from "../../ports.ts";
import type { Passkey } from "./generated/sqlite/client.ts";
import type { Connections, Statements } from "./openStore.ts";
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

    addPasskey: (passkey, most) => write((statements) => addPasskey(statements, passkey, most)),

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

async function addPasskey(
  statements: Statements,
  { keeper, transports, counter, createdAt, lastUsedAt, ...same }: PasskeyRow,
  most: number,
): Promise<AddPasskeyResult> {
  if (await statements.passkey.findUnique({ where: { credentialId: same.credentialId } })) return "known";
  if ((await statements.passkey.count({ where: { keeperId: keeper } })) >= most) return "tooMany";
  await statements.passkey.create({
    data: {
      ...same,
      keeperId: keeper,
      counter: BigInt(counter),
      transports: JSON.stringify(transports),
      createdAt: dateOf(createdAt),
      lastUsedAt: lastUsedAt === null ? null : dateOf(lastUsedAt),
    },
  });
  return "added";
}

function passkeyOf({ keeperId, counter, transports, createdAt, lastUsedAt, ...row }: Passkey): PasskeyRow {
  return {
    id: row.id,
    credentialId: row.credentialId,
    publicKey: row.publicKey,
    label: row.label,
    synced: row.synced,
    keeper: keeperId,
    counter: Number(counter), // 32 bits at most
    transports: JSON.parse(transports),
    createdAt: instantFrom(createdAt),
    lastUsedAt: lastUsedAt === null ? null : instantFrom(lastUsedAt),
  };
}
