import { isInGarden } from "../domain/digest/digestFeeder.ts";
import type { ReportedRefill } from "../domain/facts.ts";
import type { FeederState } from "../domain/feeder.ts";
import type { Instant } from "../domain/instant.ts";
import { FeederDamaged, type FeederRow, type Ports, type Transaction } from "../ports.ts";
import { texts } from "../text/index.ts";
import { applyFact, type FeederUpdate, ordersFor, startUpdate } from "./pure/feederUpdate.ts";
import { type KeeperFact, logEntryOf } from "./pure/logEntry.ts";
import { newOrder, type OrderRequest } from "./pure/newOrder.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { announceUpdates, type LoggedUpdate, saveUpdates } from "./saveUpdates.ts";

/** A keeper's actions on a feeder. Each returns its new row, or null where there is no such feeder. */

/** Over a live socket the order is sent at once; otherwise it waits for the feeder's next report. */
export async function requestOrder(ports: Ports, feeder: string, requested: OrderRequest): Promise<FeederRow | null> {
  const [row] = await orderFeeders(ports, requested, (tx) => tx.feeders([feeder]));
  return row ?? null;
}

/**
 * One order for all feeders of a yard, in one transaction: for all of them, or none. A pause goes to every feeder, wherever it
 * is, but for the record of an imported one. A resume leaves out those on the bench or put away, where hands may be in them.
 */
export async function requestYardOrder(ports: Ports, yard: string, requested: OrderRequest): Promise<YardOrder> {
  await refuseDamaged(ports, yard);
  const isAffected = ({ state }: FeederRow) =>
    isInGarden(state) || (requested.kind === "pause" && state.settings.imported !== true);
  let skippedFeeders: readonly string[] = [];
  const feeders = await orderFeeders(ports, requested, async (tx) => {
    const rows = await tx.feedersOf(yard);
    skippedFeeders = rows.filter((row) => !isAffected(row)).map(({ id }) => id);
    return rows.filter(isAffected);
  });
  return { feeders, skippedFeeders };
}

/** A damaged feeder can't be paused. Without this error, people would think that it is. @throws FeederDamaged */
export async function refuseDamaged(ports: Ports, yard: string): Promise<void> {
  const damaged = (await ports.store.yards.damagedFeeders()).find((feeder) => feeder.yard === yard);
  if (damaged) throw new FeederDamaged(damaged.id, damaged.problem);
}

/** While there is a notice of a bird disease, feeders of the yard stay paused. */
export class DiseaseNoticeInForce extends Error {
  override readonly name = "DiseaseNoticeInForce";
}

/** @throws DiseaseNoticeInForce for what would end a pause of it, now or later */
async function refuseDuringNotice(tx: Transaction, rows: readonly FeederRow[], order: OrderRequest): Promise<void> {
  if (order.kind === "pause" && order.until === null) return;
  for (const id of new Set(rows.map(({ yard }) => yard))) {
    const yard = await tx.yard(id);
    if (yard?.diseaseNotice) throw new DiseaseNoticeInForce(texts.refusals.diseaseNotice(yard.name));
  }
}

/**
 * A pause goes out before the disk has it: food must stop at once, and a feeder that pauses although a power cut took the order from the
 * server does no harm. It says that it is paused, and is shown so. A resume waits for the disk.
 */
export async function orderFeeders(
  ports: Ports,
  requested: OrderRequest,
  choose: (tx: Transaction) => Promise<readonly FeederRow[]>,
): Promise<readonly FeederRow[]> {
  const now = ports.clock.now();
  const sent = new Set<string>();
  const sendAtOnce = (steps: readonly KeeperStep[]) => {
    if (requested.kind !== "pause") return;
    for (const { row, changed } of steps) if (sendOrders(ports, row.id, changed.state)) sent.add(row.id);
  };
  const steps = await ports.store.transaction(async (tx) => {
    const rows = await choose(tx);
    await refuseDuringNotice(tx, rows, requested);
    return stepFeeders(ports, tx, rows, now, {
      by: requested.by,
      factAt: (_, at) => ({ kind: "orderRequested", order: newOrder(requested, at) }),
    });
  }, sendAtOnce);
  const rows = announceSteps(ports, steps);
  return Promise.all(
    rows.map(async (row) =>
      sent.has(row.id) || sendOrders(ports, row.id, row.state) ? ((await storeOrdersSent(ports, row.id)) ?? row) : row,
    ),
  );
}

/** The result of an action for one of several feeders. */
interface KeeperStep {
  readonly row: FeederRow; // before the action
  readonly at: Instant;
  readonly changed: FeederUpdate;
}

/** One action on several feeders. */
export interface SharedAction {
  readonly by: string | null;
  factAt(state: FeederState, at: Instant): KeeperFact;
}

/** The same action for each of these feeders, in the caller's transaction: for all of them, or none. */
export async function stepFeeders(
  ports: Ports,
  tx: Transaction,
  rows: readonly FeederRow[],
  now: Instant,
  { by, factAt }: SharedAction,
): Promise<readonly KeeperStep[]> {
  const steps = rows.map((row) => {
    const at = nextMoment(row.lastStepAt ?? row.addedAt, now);
    const fact = factAt(row.state, at);
    return { row, at, fact, changed: applyFact(startUpdate(row), fact, at) };
  });
  await saveUpdates(
    ports,
    tx,
    steps.map(({ at, fact, changed }) => ({ feeder: changed, line: entryLine(fact, at, by) })),
    now,
  );
  return steps;
}

/** The line of the log for a keeper's action. */
export const entryLine = (fact: KeeperFact, at: Instant, by: string | null): LoggedUpdate["line"] => ({
  at,
  content: { kind: "entry", entry: JSON.stringify(logEntryOf(fact, at, by)) },
});

/** After the commit. @returns the feeders as they are now */
export function announceSteps(ports: Ports, steps: readonly KeeperStep[]): readonly FeederRow[] {
  const rows = steps.map(({ row, at, changed }) => {
    return rowAfter(row, changed, at);
  });
  announceUpdates(
    ports,
    steps.map(({ changed }) => changed),
    new Map(rows.map(({ id, revision }) => [id, revision])),
  );
  return rows;
}

const rowAfter = (row: FeederRow, { state, rollups }: FeederUpdate, at: Instant): FeederRow => ({
  ...row,
  ...{ state, rollups, lastStepAt: at, revision: row.revision + 1 },
});

export interface YardOrder {
  readonly feeders: readonly FeederRow[];
  readonly skippedFeeders: readonly string[];
}

/** For a feeder that has just opened its socket. */
export async function sendWaitingOrders(ports: Ports, feeder: string): Promise<void> {
  const row = await ports.store.yards.feeder(feeder);
  if (row && sendOrders(ports, row.id, row.state)) await storeOrdersSent(ports, row.id);
}

/** Sends the waiting orders to this feeder's socket. @returns whether there were any, and a socket */
function sendOrders(ports: Ports, feeder: string, state: FeederState): boolean {
  const orders = ordersFor(state, ports.clock.now());
  return orders.length > 0 && ports.feederLink.sendOrders(feeder, orders);
}

/** After a bench run has changed: its order goes out at once where there is a socket. */
export async function sendBenchOrder(ports: Ports, row: FeederRow): Promise<FeederRow> {
  return sendOrders(ports, row.id, row.state) ? ((await storeOrdersSent(ports, row.id)) ?? row) : row;
}

const storeOrdersSent = (ports: Ports, feeder: string): Promise<FeederRow | null> =>
  applyKeeperAction(ports, feeder, null, () => ({ kind: "ordersSent" }));

/** Repeated under the same id it is stored once: a client repeats it after a lost answer. */
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

/** For an action with a client's id: a repeat under the same id changes nothing, and is answered with the present state. */
export const onceById = (feeder: string, id: string | undefined): ClaimFirst | undefined =>
  id === undefined ? undefined : (tx, at) => tx.claimActionId(feeder, id, at);

/** What else is stored with an action. If it returns false, the action was done before and changes nothing. */
type ClaimFirst = (tx: Transaction, at: Instant) => Promise<boolean>;

/**
 * Stores the fact and its effects together with the log entry of the action.
 * @param by the keeper; null where it is the consequence of another action.
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
    const at = nextMoment(row.lastStepAt ?? row.addedAt, now); // its adding is the first action
    if (!(await first(tx, at))) return { row, feeders: [] };
    const fact = factAt(row.state, at);
    const changed = applyFact(startUpdate(row), fact, at);
    await saveUpdates(ports, tx, [{ feeder: changed, line: entryLine(fact, at, by) }], at);
    return { row: rowAfter(row, changed, at), feeders: [changed] };
  });
  if (!done) return null;
  announceUpdates(ports, done.feeders, new Map([[feeder, done.row.revision]]));
  return done.row;
}
