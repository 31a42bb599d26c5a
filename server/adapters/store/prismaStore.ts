import type { AtomicStores, Store } from "../../ports.ts";
import { callsOver } from "./callStore.ts";
import { digestsOver } from "./digestStore.ts";
import { accountsOver, keepersOver } from "./keeperStore.ts";
import { type Connections, connect, type Statements } from "./openStore.ts";
import { outboxOver } from "./outboxStore.ts";
import { peopleOver } from "./peopleStore.ts";
import { recordsOver } from "./recordStore.ts";
import { yardsOver } from "./yardStore.ts";

export interface OpenStore extends Store {
  close(): Promise<void>;
}

/** Opens a database whose migrations are applied. @param databaseUrl `file:` and a path. */
export const openStore = async (databaseUrl: string): Promise<OpenStore> => storeOver(await connect(databaseUrl));

export function storeOver(connections: Connections): OpenStore {
  return {
    transaction: (work) => connections.transact(work),
    atomically: (work) => connections.write((statements) => work(within(statements))),
    outbox: outboxOver(connections),
    calls: callsOver(connections),
    people: peopleOver(connections),
    digests: digestsOver(connections),
    yards: yardsOver(connections),
    keepers: keepersOver(connections),
    records: recordsOver(connections),
    close: () => connections.close(),
  };
}

/** The same stores inside a transaction that is open: what they write is part of it, and they read what it wrote. */
function within(statements: Statements): AtomicStores {
  const same = { reader: statements, write: <T>(work: (open: Statements) => Promise<T>) => work(statements) };
  return { people: peopleOver(same), yards: yardsOver(same), keepers: accountsOver(same) };
}
