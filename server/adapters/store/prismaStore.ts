import type { Store } from "../../ports.ts";
import { accountsOver } from "./accountStore.ts";
import { callsOver } from "./callStore.ts";
import { digestsOver } from "./digestStore.ts";
import { keepersOver } from "./keeperStore.ts";
import { type Connections, connect } from "./openStore.ts";
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
