import type { ToldRefill } from "../domain/facts.ts";
import type { FeederState } from "../domain/feeder.ts";
import type { Instant } from "../domain/instant.ts";
import { FeederDamaged, type FeederRow, type Ports, type Transaction } from "../ports.ts";
import { announce, save } from "./advance.ts";
import { type Advanced, advanced, begin, ordersFor } from "./pure/advanced.ts";
import { type AskedOrder, askedOrder } from "./pure/askedOrder.ts";
import { type KeeperFact, saidOfFact } from "./pure/loggedActs.ts";
import { nextMoment } from "./pure/nextMoment.ts";

/** What a keeper may do to a feeder. Each returns its new row, or null where there is no such feeder. */

/** Over a live socket the order leaves at once; otherwise it waits for the feeder's next report. */
export async function askOrder(ports: Ports, feeder: string, asked: AskedOrder): Promise<FeederRow | null> {
  const row = await act(ports, feeder, asked.by, (_, at) => ({ kind: "orderAsked", order: askedOrder(asked, at) }));
  return row && (await sendOrders(ports, row));
}

/**
 * One order for all feeders of a yard, in one transaction: all of them are asked, or none. A stop goes to every feeder, wherever
 * it is. A resume leaves out those on the bench or put away, where hands may be in them.
 */
export async function askYardOrder(ports: Ports, yard: string, asked: AskedOrder): Promise<YardOrder> {
  const now = ports.clock.now();
  // A stop that left one out unsaid would be believed there too.
  const damaged = (await ports.store.yards.damaged()).find((feeder) => feeder.yard === yard);
  if (damaged) throw new FeederDamaged(damaged.id, damaged.problem);
  const done = await ports.store.transaction(async (tx) => {
    const rows = await tx.feedersOf(yard);
    const meant = rows.filter(
      ({ state }) => asked.kind === "pause" || (state.settings.duty ?? "inGarden") === "inGarden",
    );
    const steps = await stepFeeders(ports, tx, meant, now, {
      by: asked.by,
      factAt: (_, at) => ({ kind: "orderAsked", order: askedOrder(asked, at) }),
    });
    return { steps, leftOut: rows.filter((row) => !meant.includes(row)) };
  });
  const rows = announceSteps(ports, done.steps);
  const sent = await Promise.all(rows.map((row) => sendOrders(ports, row)));
  return { feeders: sent, leftOut: done.leftOut.map(({ id }) => id) };
}

/** What an act did to one of several feeders. */
interface Step {
  readonly row: FeederRow; // as it was
  readonly at: Instant;
  readonly changed: Advanced;
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
): Promise<readonly Step[]> {
  const steps = rows.map((row) => {
    const at = nextMoment(row.steppedAt ?? row.addedAt, now);
    const fact = factAt(row.state, at);
    return { row, at, fact, changed: advanced(begin(row), fact, at) };
  });
  await save(
    ports,
    tx,
    steps.map(({ changed }) => changed),
    now,
  );
  for (const { row, at, fact } of steps) {
    await tx.recordAct({ feeder: row.id, at, said: JSON.stringify(saidOfFact(fact, at, by)) });
  }
  return steps;
}

/** After the commit. @returns the feeders as they are now */
export function announceSteps(ports: Ports, steps: readonly Step[]): readonly FeederRow[] {
  const rows = steps.map(({ row, at, changed }) => {
    return { ...row, state: changed.state, steppedAt: at, revision: row.revision + 1 };
  });
  announce(
    ports,
    steps.map(({ changed }) => changed),
    new Map(rows.map(({ id, revision }) => [id, revision])),
  );
  return rows;
}

export interface YardOrder {
  readonly feeders: readonly FeederRow[];
  readonly leftOut: readonly string[];
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
  return (await act(ports, row.id, null, () => ({ kind: "ordersSent" }))) ?? row;
}

/** Told twice under the same id is told once: the client may repeat it after a lost answer. */
export async function tellRefill(
  ports: Ports,
  feeder: string,
  id: string,
  refill: ToldRefill,
  by: string,
): Promise<FeederRow | null> {
  const { at, what } = refill;
  const grams = what.kind === "filled" ? null : what.grams;
  const source = what.kind === "level" ? "level" : "told";
  const saved = (tx: Transaction) => tx.saveRefill({ id, feeder, at, grams, source, by });
  return act(ports, feeder, by, () => ({ kind: "refillTold", refill }), saved);
}

/** For an act that its client numbered: sent again under the same number it changes nothing, and is answered as it stands now. */
export const onceBy = (feeder: string, id: string | undefined): FirstWritten | undefined =>
  id === undefined ? undefined : (tx, at) => tx.firstTime(feeder, id, at);

/** What else is written with an act; where it answers false, this act was done before and changes nothing. */
type FirstWritten = (tx: Transaction, at: Instant) => Promise<boolean>;

/**
 * The fact and what follows from it are written together with the act itself, in the words of the feeder's log.
 * @param by the keeper; null where it is nobody's act but a consequence of one.
 */
export async function act(
  ports: Ports,
  feeder: string,
  by: string | null,
  factAt: (state: FeederState, at: Instant) => KeeperFact,
  first: FirstWritten = async () => true,
): Promise<FeederRow | null> {
  const now = ports.clock.now();
  const done = await ports.store.transaction(async (tx) => {
    const [row] = await tx.feeders([feeder]);
    if (!row) return null;
    const at = nextMoment(row.steppedAt ?? row.addedAt, now); // its adding is the first act
    if (!(await first(tx, at))) return { row, feeders: [] };
    const fact = factAt(row.state, at);
    const changed = advanced(begin(row), fact, at);
    await save(ports, tx, [changed], at);
    await tx.recordAct({ feeder, at, said: JSON.stringify(saidOfFact(fact, at, by)) });
    return { row: { ...row, state: changed.state, steppedAt: at, revision: row.revision + 1 }, feeders: [changed] };
  });
  if (!done) return null;
  announce(ports, done.feeders, new Map([[feeder, done.row.revision]]));
  return done.row;
}
