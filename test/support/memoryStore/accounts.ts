import type { AccountStore, SoleKeeperYard } from "../../../server/ports.ts";
import { createExportKeys } from "./exportKeys.ts";
import type { Access } from "./memoryDatabase.ts";
import { makeEscalationsDue, membersOf, yardsOf } from "./people.ts";
import { removePerson, removeYard } from "./removals.ts";
import { addRow, compareBy, removeWhere, rowOf, rowsWhere, type Tables } from "./tables.ts";

export const createAccounts = (access: Access): AccountStore => ({
  ...passphrases(access),
  ...resets(access),
  ...removal(access),
  ...createExportKeys(access),
});

type Passphrases = "passphraseHashOf" | "names" | "changePassphrase" | "sessionsOf" | "endSessions";

const passphrases = ({ read, write }: Access): Pick<AccountStore, Passphrases> => ({
  async passphraseHashOf(person) {
    return read().people.get(person)?.passphraseHash ?? null;
  },
  async names() {
    return [...read().people.values()].sort(compareBy(({ createdAt }) => createdAt)).map(({ name }) => name);
  },
  changePassphrase: (person, hashes, keep) =>
    write((tables) => {
      const found = tables.people.get(person);
      if (found?.passphraseHash !== hashes.old) return false;
      tables.people.set(person, { ...found, passphraseHash: hashes.new });
      removeWhere(tables.sessions, (session) => session.person === person && session.tokenHash !== keep);
      removeWhere(tables.resets, (reset) => reset.person === person);
      removeWhere(tables.exportKeys, (key) => key.person === person);
      return true;
    }),
  async sessionsOf(person, now) {
    const found = rowsWhere(read().sessions, (session) => session.person === person && session.expiresAt > now);
    found.sort(
      compareBy(
        ({ lastSeenAt }) => -lastSeenAt,
        ({ createdAt }) => -createdAt,
      ),
    );
    return found.map(({ person: _, ...session }) => session);
  },
  endSessions: (person, tokenHashes, exportKeys) =>
    write((tables) => {
      if (exportKeys === "remove") removeWhere(tables.exportKeys, (key) => key.person === person);
      removeWhere(tables.sessions, (one) => one.person === person && tokenHashes.includes(one.tokenHash));
    }),
});

const resets = ({ read, write }: Access): Pick<AccountStore, "addReset" | "reset" | "useReset"> => ({
  addReset: (tokenHash, person, now, expiresAt) =>
    write((tables) => {
      rowOf(tables.people, person);
      removeWhere(tables.resets, (reset) => reset.person === person || reset.expiresAt <= now);
      addRow(tables.resets, tokenHash, { person, expiresAt });
    }),
  async reset(tokenHash, now) {
    const found = read().resets.get(tokenHash);
    if (found === undefined || found.expiresAt <= now) return null;
    const { id, name } = rowOf(read().people, found.person);
    return { id, name };
  },
  useReset: (tokenHash, passphraseHash, now) =>
    write((tables) => {
      const found = tables.resets.get(tokenHash);
      if (found === undefined || found.expiresAt <= now) return false;
      const { person } = found;
      removeWhere(tables.resets, (reset) => reset.person === person);
      removeWhere(tables.sessions, (session) => session.person === person);
      removeWhere(tables.exportKeys, (key) => key.person === person);
      tables.people.set(person, { ...rowOf(tables.people, person), passphraseHash });
      return true;
    }),
});

const removal = ({ read, write }: Access): Pick<AccountStore, "soleKeeperYards" | "removeAccount"> => ({
  async soleKeeperYards(person) {
    return soleKeeperYards(read(), person);
  },
  removeAccount: (person, withYards, now) =>
    write((tables) => {
      const alone = soleKeeperYards(tables, person).map(({ id }) => id);
      if (alone.some((yard) => !withYards.includes(yard))) return null;
      const removed = alone.map((yard) => removeYard(tables, yard, person));
      const left = yardsOf(tables, person);
      removePerson(tables, person);
      makeEscalationsDue(tables, left, now);
      return {
        feeders: removed.flatMap(({ feeders }) => feeders),
        people: [person, ...removed.flatMap(({ people }) => people)],
      };
    }),
});

function soleKeeperYards(tables: Tables, person: string): readonly SoleKeeperYard[] {
  const yards = [...tables.yards.values()].sort(compareBy(({ createdAt }) => createdAt));
  return yards.flatMap(({ id, name, practice }) => {
    const members = membersOf(tables, id);
    const keepers = members.filter(({ role }) => role === "keeper");
    if (keepers.length !== 1 || keepers[0]?.person !== person) return [];
    const feeders = rowsWhere(tables.feeders, ({ yard }) => yard === id).length;
    return [{ id, name, practice, feeders, otherPeople: members.length - 1 }];
  });
}
