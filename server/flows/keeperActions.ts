import type { ReportedRefill } from "../domain/facts.ts";
import type { FeederState } from "../domain/feeder.ts";
import type { Instant } from "../domain/instant.ts";
import { FeederDamaged, type FeederRow, type Ports, type Transaction } from "../ports.ts";
import { applyFact, type FeederUpdate, ordersFor, startUpdate } from "./pure/feederUpdate.ts";
import { type KeeperFact, logEntryOf } from "./pure/logEntry.ts";
import { newOrder, type OrderRequest } from "./pure/newOrder.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { announceUpdates, saveUpdates } from "./saveUpdates.ts";

/** What a keeper may do to a feeder. Each returns its new row, or null where there is no such feeder. */

/** Over a live socket the order leaves at once; otherwise it waits for the feeder's next report. */
export async function requestOrder(ports: Ports, feeder: string, requested: OrderRequest): Promise<FeederRow | null> {
  const row = await applyKeeperAction(ports, feeder, requested.by, (_, at) => ({
    kind: "orderRequested",
    order: newOrder(requested, at),
  }));
  return row && (await sendOrders(ports, row));
}

/**
 * One order for all feeders of a yard, in one transaction: all of them are asked, or none. A stop goes to every feeder, wherever
 * it is. A resume leaves out those on the bench or put away, where hands may be in them.
 */
export async function requestYardOrder(ports: Ports, yard: string, requested: OrderRequest): Promise<YardOrder> {
  const now = ports.clock.now();
  // A stop that left one out unsaid would be believed there too.
  const damaged = (await ports.store.yards.damagedFeeders()).find((feeder) => feeder.yard === yard);
  if (damaged) throw new FeederDamaged(damaged.id, damaged.problem);
  const done = await ports.store.transaction(async (tx) => {
    const rows = await tx.feedersOf(yard);
    const meant = rows.filter(
      ({ state }) => requested.kind === "pause" || (state.settings.placement ?? "inGarden") === "inGarden",
    );
    const steps = await stepFeeders(ports, tx, meant, now, {
      by: requested.by,
      factAt: (_, at) => ({ kind: "orderRequested", order: newOrder(requested, at) }),
    });
    return { steps, skippedFeeders: rows.filter((row) => !meant.includes(row)) };
  });
  const rows = announceSteps(ports, done.steps);
  const sent = await Promise.all(rows.map((row) => sendOrders(ports, row)));
  return { feeders: sent, skippedFeeders: done.skippedFeeders.map(({ id }) => id) };
}

/** What an act did to one of several feeders. */
interface FeederStep {
  readonly row: FeederRow; // as it was
  readonly at: Instant;
  readonly changed: FeederUpdate;
}

/** What is done to several feeders alike. */
export interface SharedAct {
  readonly by: string | null;
  factAt(state: FeederState, at: Instant): KeeperFact;
}

/** The same act for each of these feeders, in the caller's transaction: all of them get it, or none. */
export async function stepFeeders(
  ports: Ports,
  tx: Transaction,
  rows: readonly FeederRow[],
  now: Instant,
  { by, factAt }: SharedAct,
): Promise<readonly FeederStep[]> {
  const steps = rows.map((row) => {
    const at = nextMoment(row.lastStepAt ?? row.addedAt, now);
    const fact = factAt(row.state, at);
    return { row, at, fact, changed: applyFact(startUpdate(row), fact, at) };
  });
  await saveUpdates(
    ports,
    tx,
    steps.map(({ changed }) => changed),
    now,
  );
  for (const { row, at, fact } of steps) {
    await tx.appendLogEntry({ feeder: row.id, at, entry: JSON.stringify(logEntryOf(fact, at, by)) });
  }
  return steps;
}

/** After the commit. @returns the feeders as they are now */
export function announceSteps(ports: Ports, steps: readonly FeederStep[]): readonly FeederRow[] {
  const rows = steps.map(({ row, at, changed }) => {
    return { ...row, state: changed.state, lastStepAt: at, revision: row.revision + 1 };
  });
  announceUpdates(
    ports,
    steps.map(({ changed }) => changed),
    new Map(rows.map(({ id, revision }) => [id, revision])),
  );
  return rows;
}

export interface YardOrder {
  readonly feeders: readonly FeederRow[];
  readonly skippedFeeders: readonly string[];
}

/** For a feeder that has just opened its socket. */
export async function sendWaitingOrders(ports: Ports, feeder: string): Promise<void> {
  const row = await ports.store.yards.feeder(feeder);
  if (row) await sendOrders(ports, row);
}

/** Writes what waits for this feeder to its socket, if it holds one, and remembers that it did. */
async function sendOrders(ports: Ports, row: FeederRow): Promise<FeederRow> {
  const orders = ordersFor(row.state, ports.clock.now());
  if (orders.length === 0 || !ports.feederLink.sendOrders(row.id, orders)) return row;
  return (await applyKeeperAction(ports, row.id, null, () => ({ kind: "ordersSent" }))) ?? row;
}

/** Told twice under the same id is told once: the client may repeat it after a lost answer. */
export async function reportRefill(
  ports: Ports,
  feeder: string,
  id: string,
  refill: ReportedRefill,
  by: string,
): Promise<FeederRow | null> {
  const { at, what } = refill;
  const grams = what.kind === "filled" ? null : what.grams;
  const source = what.kind === "level" ? "level" : "keeper";
  const saved = (tx: Transaction) => tx.saveRefill({ id, feeder, at, grams, source, by });
  return applyKeeperAction(ports, feeder, by, () => ({ kind: "refillReported", refill }), saved);
}

/** For an act that its client numbered: sent again under the same number it changes nothing, and is answered as it stands now. */
export const onceById = (feeder: string, id: string | undefined): ClaimFirst | undefined =>
  id === undefined ? undefined : (tx, at) => tx.claimActionId(feeder, id, at);

/** What else is written with an act; where it answers false, this act was done before and changes nothing. */
type ClaimFirst = (tx: Transaction, at: Instant) => Promise<boolean>;

/**
 * The fact and what follows from it are written together with the act itself, in the words of the feeder's log.
 * @param by the keeper; null where it is nobody's act but a consequence of one.
 */
export async function applyKeeperAction(
  ports: Ports,
  feeder: string,
  by: string | null,
  factAt: (state: FeederState, at: Instant) => KeeperFact,
  first: ClaimFirst = async () => true,
): Promise<FeederRow | null> {
  const now = ports.clock.now();
  const done = await ports.store.transaction(async (tx) => {
    const [row] = await tx.feeders([feeder]);
    if (!row) return null;
    const at = nextMoment(row.lastStepAt ?? row.addedAt, now); // its adding is the first act
    if (!(await first(tx, at))) return { row, feeders: [] };
    const fact = factAt(row.state, at);
    const changed = applyFact(startUpdate(row), fact, at);
    await saveUpdates(ports, tx, [changed], at);
    await tx.appendLogEntry({ feeder, at, entry: JSON.stringify(logEntryOf(fact, at, by)) });
    return { row: { ...row, state: changed.state, lastStepAt: at, revision: row.revision + 1 }, feeders: [changed] };
  });
  if (!done) return null;
  announceUpdates(ports, done.feeders, new Map([[feeder, done.row.revision]]));
  return done.row;
}
