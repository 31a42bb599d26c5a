import type { AtomicStores, KeeperStore, Store, Transaction } from "../../../server/ports.ts";
import { createAccounts } from "./accounts.ts";
import { createYards, feederTransaction, recordTransaction } from "./feeders.ts";
import { createHistory, createRollups } from "./history.ts";
import { createKeeperAccounts, createPasskeys } from "./keepers.ts";
import { type Access, accessTo, MemoryDatabase } from "./memoryDatabase.ts";
import { createEscalations, notificationTransaction } from "./notifications.ts";
import { createOutbox } from "./outbox.ts";
import { createPeople } from "./people.ts";
import { createPhones } from "./phones.ts";
import { createPictures } from "./pictures.ts";
import { createDigests, createPacks, createRecords } from "./records.ts";
import { createStills } from "./stills.ts";
import { rowsWhere, type Tables } from "./tables.ts";
import { createTraining, trainingTransaction } from "./training.ts";

/**
 * The whole store in memory, in plain maps: a second adapter, so that the port says what a store is and not what SQLite does. The
 * store's contract tests it as it tests the real one.
 */
export function createMemoryStore(database = new MemoryDatabase()): Store {
  const access: Access = { read: () => database.read(), write: (work) => database.write(work) };
  return {
    async transaction(work, committed) {
      const result = await database.write((tables) => work(transactionOn(tables)));
      committed?.(result);
      return result;
    },
    withStores: (work) => database.write((tables) => work(atomicStores(accessTo(tables)))),
    condition: database.condition,
    damageRecipients: async () => damageRecipients(database.read()),
    outbox: createOutbox(access),
    escalations: createEscalations(access),
    people: createPeople(access),
    accounts: createAccounts(access),
    digests: createDigests(access),
    yards: createYards(access),
    keepers: keeperStore(access),
    records: createRecords(access),
    history: createHistory(access),
    packs: createPacks(access),
    rollups: createRollups(access),
    training: createTraining(access),
    pictures: createPictures(access),
    stills: createStills(access),
  };
}

const keeperStore = (access: Access): KeeperStore => ({
  ...createKeeperAccounts(access),
  ...createPhones(access),
  ...createPasskeys(access),
});

const atomicStores = (access: Access): AtomicStores => ({
  people: createPeople(access),
  yards: createYards(access),
  keepers: createKeeperAccounts(access),
});

const transactionOn = (tables: Tables): Transaction => ({
  ...notificationTransaction(tables),
  ...feederTransaction(tables),
  ...recordTransaction(tables),
  ...trainingTransaction(tables),
});

function damageRecipients(tables: Tables): Awaited<ReturnType<Store["damageRecipients"]>> {
  const isReal = (yard: string) => tables.yards.get(yard)?.practice === false;
  const keepers = rowsWhere(tables.members, ({ role, yard }) => role === "keeper" && isReal(yard));
  const people = [...new Set(keepers.map(({ person }) => person))].sort();
  const phones = people.flatMap((person) => rowsWhere(tables.phones, ({ keeper }) => keeper === person));
  return {
    phones: phones
      .filter(({ blockedAt }) => blockedAt === null)
      .map(({ id, keeper, endpoint, p256dh, auth, label }) => ({ id, keeper, endpoint, p256dh, auth, label })),
    addresses: people.flatMap((person) => tables.people.get(person)?.email ?? []),
  };
}
