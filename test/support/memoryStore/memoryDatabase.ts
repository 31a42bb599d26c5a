import { createStoreCondition } from "../../../server/adapters/store/storeCondition.ts";
import { StoreDamaged } from "../../../server/ports.ts";
import { copyTables, emptyTables, type Tables } from "./tables.ts";

/** How a part of the store gets at the rows. */
export interface Access {
  /** What is committed. Inside a transaction: what it has written, too. */
  read(): Tables;
  write<T>(work: (tables: Tables) => T | Promise<T>): Promise<T>;
}

/**
 * The rows of a memory store. A transaction writes to a copy, which takes the place of the rows with its commit: nobody else sees it
 * before, and what fails leaves nothing. Several stores on one database are like several processes.
 */
export class MemoryDatabase implements Access {
  readonly condition = createStoreCondition();
  #tables = emptyTables();
  #last: Promise<unknown> = Promise.resolve();
  readonly #copy: (tables: Tables) => Tables;

  /** @param copy what a transaction writes to; a planted fault may give the rows themselves */
  constructor(copy = copyTables) {
    this.#copy = copy;
  }

  read(): Tables {
    return this.#tables;
  }

  /** Runs one write after the other, in the order in which they were requested. */
  write<T>(work: (tables: Tables) => T | Promise<T>): Promise<T> {
    const next = this.#last.then(() => this.#commit(work));
    this.#last = next.catch(() => undefined); // the caller gets the error; the next write runs all the same
    return next;
  }

  async #commit<T>(work: (tables: Tables) => T | Promise<T>): Promise<T> {
    if (this.condition.damage()?.kind === "damaged") throw new StoreDamaged("the store is damaged");
    const copy = this.#copy(this.#tables);
    const result = await work(copy);
    this.#tables = copy;
    return result;
  }
}

/** Inside a transaction that is open. */
export const accessTo = (tables: Tables): Access => ({ read: () => tables, write: async (work) => work(tables) });
