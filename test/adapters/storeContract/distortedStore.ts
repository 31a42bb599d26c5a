import type { Store, Transaction } from "../../../server/ports.ts";

/** An operation of the port, whatever it takes and returns. */
export type Operation = (...given: readonly unknown[]) => unknown;
/** @param name such as `people.membersOf` or `transaction.saveSteps` */
export type Distortion = (name: string, operation: Operation) => Operation;

/** A store of which each operation is what `distort` makes of it. */
export function distortStore(store: Store, distort: Distortion): Store {
  const { transaction, withStores, damageRecipients, ...parts } = store;
  const distorted = Object.entries(parts).map(([part, operations]) => [part, distortPart(part, operations, distort)]);
  return {
    ...(Object.fromEntries(distorted) as typeof parts),
    withStores: distort("withStores", withStores as Operation) as Store["withStores"],
    damageRecipients: distort("damageRecipients", damageRecipients as Operation) as Store["damageRecipients"],
    transaction: (work, committed) => transaction((tx) => work(distortPart("transaction", tx, distort)), committed),
  };
}

const distortPart = <Part extends object>(part: string, operations: Part, distort: Distortion): Part =>
  Object.fromEntries(
    Object.entries(operations).map(([name, operation]) => [name, distort(`${part}.${name}`, operation as Operation)]),
  ) as Part;

/** Replaces operations of transactions. */
export const inTransactions =
  (change: (tx: Transaction) => Partial<Transaction>) =>
  (store: Store): Store => ({
    ...store,
    transaction: (work, committed) => store.transaction((tx) => work({ ...tx, ...change(tx) }), committed),
  });

/** Replaces operations of one part of the store. */
export const inPart =
  <Name extends keyof Store>(name: Name, change: (part: Store[Name], store: Store) => Partial<Store[Name]>) =>
  (store: Store): Store => ({ ...store, [name]: { ...store[name], ...change(store[name], store) } });
