import type { AtomicStores, Store, StoreCondition } from "../../ports.ts";
import { accountsOver } from "./accountStore.ts";
import { callsOver } from "./callStore.ts";
import { damageRecipientsOver } from "./damageRecipients.ts";
import { digestsOver } from "./digestStore.ts";
import { keeperAccountsOver, keepersOver } from "./keeperStore.ts";
import { type Connections, connect, type Statements } from "./openStore.ts";
import { outboxOver } from "./outboxStore.ts";
import { peopleOver } from "./peopleStore.ts";
import { recordsOver } from "./recordStore.ts";
import { yardsOver } from "./yardStore.ts";

export interface OpenStore extends Store {
  close(): Promise<void>;
}

/** Opens a database whose migrations are applied. @param databaseUrl `file:` and a path. */
export const openStore = async (databaseUrl: string, condition?: StoreCondition): Promise<OpenStore> =>
  storeOver(await connect(databaseUrl, condition));

export function storeOver(connections: Connections): OpenStore {
  return {
    transaction: (work) => connections.transact(work),
    async atomically(work) {
      let removed = false;
      const noteRemoved = async () => {
        removed = true;
      };
      const result = await connections.write((statements) => work(within(statements, noteRemoved)));
      if (removed) await connections.forgetRemoved(); // the file can only be rewritten outside of a transaction
      return result;
    },
    condition: connections.condition,
    damageRecipients: damageRecipientsOver(connections),
    outbox: outboxOver(connections),
    calls: callsOver(connections),
    people: peopleOver(connections),
    accounts: accountsOver(connections),
    digests: digestsOver(connections),
    yards: yardsOver(connections),
    keepers: keepersOver(connections),
    records: recordsOver(connections),
    close: () => connections.close(),
  };
}

/** The same stores inside a transaction that is open: what they write is part of it, and they read what it wrote. */
function within(statements: Statements, forgetRemoved: () => Promise<void>): AtomicStores {
  const write = <T>(work: (open: Statements) => Promise<T>) => work(statements);
  const same = { reader: statements, write, forgetRemoved };
  return { people: peopleOver(same), yards: yardsOver(same), keepers: keeperAccountsOver(same) };
}
