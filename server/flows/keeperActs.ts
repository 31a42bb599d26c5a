import type { Fact } from "../domain/facts.ts";
import type { FeederState } from "../domain/feeder.ts";
import type { FeederRow, Ports, StoredRefill, Transaction } from "../ports.ts";
import { announce, save } from "./advance.ts";
import { advanced, begin, ordersFor } from "./pure/advanced.ts";
import { type AskedOrder, askedOrder } from "./pure/askedOrder.ts";

/** What a keeper may do to a feeder. Each returns its new row, or null where there is no such feeder. */

/** Over a live socket the order leaves at once; otherwise it waits for the feeder's next report. */
export async function askOrder(ports: Ports, feeder: string, asked: AskedOrder): Promise<FeederRow | null> {
  const order = askedOrder(asked, ports.clock.now());
  const row = await act(ports, feeder, { kind: "orderAsked", order });
  return row && (await sendOrders(ports, row));
}

/** For a feeder that has just opened its socket. */
export async function sendWaitingOrders(ports: Ports, feeder: string): Promise<void> {
  const row = await ports.store.yards.feeder(feeder);
  if (row) await sendOrders(ports, row);
}

/** Writes what waits for this feeder to its socket, if it holds one, and remembers that it did. */
async function sendOrders(ports: Ports, row: FeederRow): Promise<FeederRow> {
  const orders = ordersFor(row.state, ports.clock.now());
  if (orders.length === 0 || !ports.feeders.deliver(row.id, orders)) return row;
  return (await act(ports, row.id, { kind: "ordersSent" })) ?? row;
}

/** Told twice under the same id is told once: the client may repeat it after a lost answer. */
export async function tellRefill(
  ports: Ports,
  feeder: string,
  id: string,
  refill: Extract<Fact, { kind: "refillTold" }>["refill"],
  by: string,
): Promise<FeederRow | null> {
  const { at, what } = refill;
  const grams = what.kind === "filled" ? null : what.grams;
  const row: StoredRefill = { id, feeder, at, grams, source: what.kind === "level" ? "level" : "told", by };
  return act(ports, feeder, { kind: "refillTold", refill }, (tx) => tx.saveRefill(row));
}

/** @param first what else is written with it; where it answers false, this act was done before and changes nothing. */
export async function act(
  ports: Ports,
  feeder: string,
  fact: Fact | ((state: FeederState) => Fact),
  first: (tx: Transaction) => Promise<boolean> = async () => true,
): Promise<FeederRow | null> {
  const now = ports.clock.now();
  const done = await ports.store.transaction(async (tx) => {
    const [row] = await tx.feeders([feeder]);
    if (!row) return null;
    if (!(await first(tx))) return { row, feeders: [] };
    const changed = advanced(begin(row), typeof fact === "function" ? fact(row.state) : fact, now);
    await save(tx, [changed], now);
    return { row: { ...row, state: changed.state, revision: row.revision + 1 }, feeders: [changed] };
  });
  if (!done) return null;
  announce(ports, done.feeders, new Map([[feeder, done.row.revision]]));
  return done.row;
}
