import type { AtomicStores, KeeperStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { phonesOver } from "./phoneStore.ts";
import { dateOf, instantFrom } from "./rows.ts";

export const keepersOver = (connections: Connections): KeeperStore => ({
  ...accountsOver(connections),
  ...phonesOver(connections),
});

export function accountsOver({ reader, write }: Pick<Connections, "reader" | "write">): AtomicStores["keepers"] {
  return {
    countKeepers: () => reader.keeper.count(),

    openClaim: (tokenHash, now) =>
      write(async (statements) => {
        await statements.claim.deleteMany({ where: { usedAt: null } });
        await statements.claim.create({ data: { tokenHash, createdAt: dateOf(now) } });
      }),

    useClaim: (tokenHash, { id, name, passphraseHash }, now) =>
      write(async (statements) => {
        const used = await statements.claim.updateMany({
          where: { tokenHash, usedAt: null },
          data: { usedAt: dateOf(now) },
        });
        if (used.count === 0) return false;
        await statements.keeper.create({ data: { id, name, passphraseHash, createdAt: dateOf(now) } });
        return true;
      }),

    async isUsedClaim(tokenHash) {
      return (await reader.claim.count({ where: { tokenHash, usedAt: { not: null } } })) > 0;
    },

    async keeperNamed(name) {
      return await reader.keeper.findUnique({
        where: { name },
        select: { id: true, name: true, passphraseHash: true },
      });
    },

    addSession: ({ tokenHash, keeper, expiresAt }, now) =>
      write(async (statements) => {
        await statements.session.deleteMany({ where: { expiresAt: { lte: dateOf(now) } } });
        await statements.session.create({
          data: {
            tokenHash,
            keeperId: keeper,
            createdAt: dateOf(now),
            lastSeenAt: dateOf(now),
            expiresAt: dateOf(expiresAt),
          },
        });
      }),

    async session(tokenHash) {
      const found = await reader.session.findUnique({ where: { tokenHash }, include: { keeper: true } });
      return (
        found && {
          tokenHash,
          keeper: { id: found.keeper.id, name: found.keeper.name },
          lastSeenAt: instantFrom(found.lastSeenAt),
          expiresAt: instantFrom(found.expiresAt),
        }
      );
    },

    touchSession: (tokenHash, lastSeenAt, expiresAt) =>
      write(async (statements) => {
        await statements.session.updateMany({
          where: { tokenHash },
          data: { lastSeenAt: dateOf(lastSeenAt), expiresAt: dateOf(expiresAt) },
        });
      }),

    removeSession: (tokenHash) =>
      write(async (statements) => {
        await statements.session.deleteMany({ where: { tokenHash } });
      }),

    prune: (before) =>
      write(async (statements) => {
        await statements.session.deleteMany({ where: { expiresAt: { lte: dateOf(before) } } });
        await statements.invite.deleteMany({ where: { expiresAt: { lte: dateOf(before) } } });
        await statements.actId.deleteMany({ where: { at: { lte: dateOf(before) } } });
      }),
  };
}
