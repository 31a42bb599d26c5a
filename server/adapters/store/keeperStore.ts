import { nameKey } from "../../domain/names.ts";
import type { AtomicStores, KeeperStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { createPasskeyStore } from "./passkeyStore.ts";
import { sameName } from "./peopleStore.ts";
import { createPhoneStore } from "./phoneStore.ts";
import { dateOf } from "./rows.ts";

export const createKeeperStore = (connections: Connections): KeeperStore => ({
  ...createKeeperAccounts(connections),
  ...createPhoneStore(connections),
  ...createPasskeyStore(connections),
});

type Access = Pick<Connections, "reader" | "write" | "requests">;
type KeeperAccounts = AtomicStores["keepers"];
type FirstSignIns = "openFirstSignIn" | "isFirstSignInOpen" | "useFirstSignIn" | "isUsedFirstSignIn";

export const createKeeperAccounts = (access: Access): KeeperAccounts => ({
  ...firstSignIns(access),
  ...keepers(access),
  ...sessions(access),
});

function firstSignIns({ reader, write }: Access): Pick<KeeperAccounts, FirstSignIns> {
  return {
    openFirstSignIn: (tokenHash, now) =>
      write(async (statements) => {
        await statements.firstSignIn.deleteMany({ where: { usedAt: null } });
        await statements.firstSignIn.create({ data: { tokenHash, createdAt: dateOf(now) } });
      }),

    async isFirstSignInOpen(tokenHash) {
      return (await reader.firstSignIn.count({ where: { tokenHash, usedAt: null } })) > 0;
    },

    useFirstSignIn: (tokenHash, { id, name, passphraseHash }, now) =>
      write(async (statements) => {
        const used = await statements.firstSignIn.updateMany({
          where: { tokenHash, usedAt: null },
          data: { usedAt: dateOf(now) },
        });
        if (used.count === 0) return false;
        await statements.keeper.create({
          data: { id, name, nameKey: nameKey(name), passphraseHash, createdAt: dateOf(now) },
        });
        return true;
      }),

    async isUsedFirstSignIn(tokenHash) {
      return (await reader.firstSignIn.count({ where: { tokenHash, usedAt: { not: null } } })) > 0;
    },
  };
}

function keepers({ reader }: Access): Pick<KeeperAccounts, "countKeepers" | "keeperNamed"> {
  return {
    countKeepers: () => reader.keeper.count(),

    async keeperNamed(name) {
      return reader.keeper.findUnique({
        where: sameName(name),
        select: { id: true, name: true, passphraseHash: true },
      });
    },
  };
}

function sessions({ write, requests }: Access): Omit<KeeperAccounts, FirstSignIns | "countKeepers" | "keeperNamed"> {
  return {
    addSession: ({ tokenHash, keeper, device = "", expiresAt }, now) =>
      write(async (statements) => {
        await statements.session.deleteMany({ where: { expiresAt: { lte: dateOf(now) } } });
        await statements.session.create({
          data: {
            tokenHash,
            keeperId: keeper,
            device,
            createdAt: dateOf(now),
            lastSeenAt: dateOf(now),
            expiresAt: dateOf(expiresAt),
          },
        });
      }),

    session: requests.session,

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

    pruneSessions: (before) =>
      write(async (statements) => {
        await statements.session.deleteMany({ where: { expiresAt: { lte: dateOf(before) } } });
        await statements.invite.deleteMany({ where: { expiresAt: { lte: dateOf(before) } } });
        await statements.exportKey.deleteMany({ where: { expiresAt: { lte: dateOf(before) } } });
        await statements.actionId.deleteMany({ where: { at: { lte: dateOf(before) } } });
      }),
  };
}
