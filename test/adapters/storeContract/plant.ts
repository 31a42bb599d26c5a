import type { Store } from "../../../server/ports.ts";
import type { MemoryDatabase } from "../../support/memoryStore/memoryDatabase.ts";
import type { Tables } from "../../support/memoryStore/tables.ts";

/** A memory store with one fault, and a rule that must notice it. */
export interface Plant {
  readonly fault: string;
  readonly rule: string;
  readonly plant: (store: Store, database: MemoryDatabase) => Store;
  readonly copy?: (tables: Tables) => Tables;
}
