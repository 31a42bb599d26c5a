import type { KeeperStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { passkeysOver } from "./passkeyStore.ts";
import { phonesOver } from "./phoneStore.ts";
import { dateOf, instantFrom } from "./rows.ts";

export function keepersOver(connections: Connections): KeeperStore {
  const { reader, write } = connections;
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
          createdAt: instantFrom(found.createdAt),
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

    ...phonesOver(connections),
    ...passkeysOver(connections),

    prune: (before) =>
      write(async (statements) => {
        await statements.session.deleteMany({ where: { expiresAt: { lte: dateOf(before) } } });
        await statements.invite.deleteMany({ where: { expiresAt: { lte: dateOf(before) } } });
        await statements.actId.deleteMany({ where: { at: { lte: dateOf(before) } } });
      }),
  };
}
