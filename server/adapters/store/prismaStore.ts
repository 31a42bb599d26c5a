import type { AtomicStores, RebuildState, Store, StoreCondition } from "../../ports.ts";
import { createAccountStore } from "./accountStore.ts";
import { createDamageRecipients } from "./damageRecipients.ts";
import { createDigestStore } from "./digestStore.ts";
import { createEscalationStore } from "./escalationStore.ts";
import { createHistoryStore } from "./historyStore.ts";
import { createKeeperAccounts, createKeeperStore } from "./keeperStore.ts";
import { createLogPacking } from "./logPacks.ts";
import { type Connections, connect, type Statements } from "./openStore.ts";
import { createOutboxStore } from "./outboxStore.ts";
import { createPeopleStore } from "./peopleStore.ts";
import { createPictureStore } from "./pictureStore.ts";
import { createRollupStore } from "./rebuiltRollups.ts";
import { createRecordStore } from "./recordStore.ts";
import { statementRequestReads } from "./requestReads.ts";
import { createStillStore } from "./stillStore.ts";
import { createTrainingStore } from "./trainingStore.ts";
import { createYardStore } from "./yardStore.ts";

export interface OpenStore extends Store {
  close(): Promise<void>;
}

/** Opens a database whose migrations are applied. @param databaseUrl `file:` and a path. */
export const openStore = async (
  databaseUrl: string,
  rebuild: RebuildState,
  condition?: StoreCondition,
): Promise<OpenStore> => createStore(await connect(databaseUrl, rebuild, condition));

export function createStore(connections: Connections): OpenStore {
  return {
    transaction: (work, committed) => connections.transact(work, committed),
    async withStores(work) {
      let isRemoved = false;
      const markRemoved = async () => {
        isRemoved = true;
      };
      const result = await connections.write((statements) => work(atomicStores(connections, statements, markRemoved)));
      if (isRemoved) await connections.eraseRemoved(); // the file can only be rewritten outside of a transaction
      return result;
    },
    condition: connections.condition,
    damageRecipients: createDamageRecipients(connections),
    outbox: createOutboxStore(connections),
    escalations: createEscalationStore(connections),
    people: createPeopleStore(connections),
    accounts: createAccountStore(connections),
    digests: createDigestStore(connections),
    yards: createYardStore(connections),
    keepers: createKeeperStore(connections),
    records: createRecordStore(connections),
    history: createHistoryStore(connections),
    packs: createLogPacking(connections),
    rollups: createRollupStore(connections),
    training: createTrainingStore(connections),
    pictures: createPictureStore(connections),
    stills: createStillStore(connections),
    close: () => connections.close(),
  };
}

/** The same stores inside a transaction that is open: what they write is part of it, and they read what it wrote. */
function atomicStores(
  { feeders }: Connections,
  statements: Statements,
  eraseRemoved: () => Promise<void>,
): AtomicStores {
  const write = <T>(work: (open: Statements) => Promise<T>) => work(statements);
  const same = { reader: statements, requests: statementRequestReads(statements), write, eraseRemoved, feeders };
  return { people: createPeopleStore(same), yards: createYardStore(same), keepers: createKeeperAccounts(same) };
}
