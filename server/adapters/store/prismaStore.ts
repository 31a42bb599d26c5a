import type { Store, StoreCondition } from "../../ports.ts";
import { callsOver } from "./callStore.ts";
import { damageRecipientsOver } from "./damageRecipients.ts";
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
export const openStore = async (databaseUrl: string, condition?: StoreCondition): Promise<OpenStore> =>
  storeOver(await connect(databaseUrl, condition));

export function storeOver(connections: Connections): OpenStore {
  return {
    transaction: (work) => connections.transact(work),
    condition: connections.condition,
    damageRecipients: damageRecipientsOver(connections),
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
