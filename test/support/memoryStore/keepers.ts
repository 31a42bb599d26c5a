import type { AtomicStores, PasskeyStore } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { addPerson, personNamed } from "./people.ts";
import { addRow, changeWhere, compareBy, removeWhere, rowOf, rowsWhere } from "./tables.ts";

type KeeperAccounts = AtomicStores["keepers"];
type FirstSignIns = "openFirstSignIn" | "isFirstSignInOpen" | "useFirstSignIn" | "isUsedFirstSignIn";

export const createKeeperAccounts = (access: Access): KeeperAccounts => ({
  ...firstSignIns(access),
  ...sessions(access),
});

const firstSignIns = ({ read, write }: Access): Pick<KeeperAccounts, FirstSignIns> => ({
  openFirstSignIn: (tokenHash) =>
    write((tables) => {
      removeWhere(tables.firstSignIns, ({ usedAt }) => usedAt === null);
      addRow(tables.firstSignIns, tokenHash, { usedAt: null });
    }),
  async isFirstSignInOpen(tokenHash) {
    return read().firstSignIns.get(tokenHash)?.usedAt === null;
  },
  useFirstSignIn: (tokenHash, keeper, now) =>
    write((tables) => {
      if (tables.firstSignIns.get(tokenHash)?.usedAt !== null) return false;
      tables.firstSignIns.set(tokenHash, { usedAt: now });
      addPerson(tables, keeper, now);
      return true;
    }),
  async isUsedFirstSignIn(tokenHash) {
    return (read().firstSignIns.get(tokenHash)?.usedAt ?? null) !== null;
  },
});

const sessions = ({ read, write }: Access): Omit<KeeperAccounts, FirstSignIns> => ({
  async countKeepers() {
    return read().people.size;
  },
  async keeperNamed(name) {
    const found = personNamed(read(), name);
    return found === undefined ? null : { id: found.id, name: found.name, passphraseHash: found.passphraseHash };
  },
  addSession: ({ tokenHash, keeper, device = "", expiresAt }, now) =>
    write((tables) => {
      rowOf(tables.people, keeper);
      removeWhere(tables.sessions, (session) => session.expiresAt <= now);
      const times = { createdAt: now, lastSeenAt: now, expiresAt };
      addRow(tables.sessions, tokenHash, { tokenHash, person: keeper, device, ...times });
    }),
  async session(tokenHash) {
    const found = read().sessions.get(tokenHash);
    if (found === undefined) return null;
    const { device, person, ...session } = found;
    return { ...session, keeper: { id: person, name: rowOf(read().people, person).name } };
  },
  touchSession: (tokenHash, lastSeenAt, expiresAt) =>
    write((tables) =>
      changeWhere(tables.sessions, (session) => session.tokenHash === tokenHash, { lastSeenAt, expiresAt }),
    ),
  removeSession: (tokenHash) =>
    write((tables) => {
      tables.sessions.delete(tokenHash);
    }),
  pruneSessions: (before) =>
    write((tables) => {
      removeWhere(tables.sessions, ({ expiresAt }) => expiresAt <= before);
      removeWhere(tables.invites, ({ expiresAt }) => expiresAt <= before);
      removeWhere(tables.exportKeys, ({ expiresAt }) => expiresAt <= before);
      removeWhere(tables.actionIds, ({ at }) => at <= before);
    }),
});

export const createPasskeys = ({ read, write }: Access): PasskeyStore => ({
  async passkeysOf(keeper) {
    return rowsWhere(read().passkeys, (passkey) => passkey.keeper === keeper).sort(
      compareBy(
        ({ createdAt }) => createdAt,
        ({ id }) => id,
      ),
    );
  },
  async passkeyWith(credentialId) {
    const [found] = rowsWhere(read().passkeys, (passkey) => passkey.credentialId === credentialId);
    return found === undefined ? null : { ...found, name: rowOf(read().people, found.keeper).name };
  },
  addPasskey: (passkey, most) =>
    write(({ passkeys, people }) => {
      if (rowsWhere(passkeys, ({ credentialId }) => credentialId === passkey.credentialId).length > 0) return "known";
      if (rowsWhere(passkeys, ({ keeper }) => keeper === passkey.keeper).length >= most) return "tooMany";
      rowOf(people, passkey.keeper);
      addRow(passkeys, passkey.id, passkey);
      return "added";
    }),
  usePasskey: (id, counter, now) =>
    write(({ passkeys }) => {
      const found = passkeys.get(id);
      if (found === undefined || (counter === 0 ? found.counter !== 0 : found.counter >= counter)) return false;
      passkeys.set(id, { ...found, counter, lastUsedAt: now });
      return true;
    }),
  renamePasskey: (keeper, id, label) =>
    write(({ passkeys }) => {
      const found = passkeys.get(id);
      if (found?.keeper !== keeper) return false;
      passkeys.set(id, { ...found, label });
      return true;
    }),
  removePasskey: (keeper, id) => write(({ passkeys }) => passkeys.get(id)?.keeper === keeper && passkeys.delete(id)),
});
