import { randomUUID } from "node:crypto";
import type { SentOrder } from "../contract/report.ts";
import { advanceFeeder, nextLookAt } from "../domain/advanceFeeder.ts";
import type { Effect, Fact } from "../domain/facts.ts";
import type { FeederState } from "../domain/feeder.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import { pendingOrders } from "../domain/orders/lifeCycle.ts";
import type { Order } from "../domain/orders/order.ts";
import type { FeederRow, Ports, Transaction } from "../ports.ts";

/** Where the pure step and the store meet: whatever happens to a feeder goes through here, one fact after the other. */
export interface Advanced {
  readonly id: string;
  readonly yard: string;
  readonly state: FeederState;
  readonly effects: readonly Effect[];
  readonly lastHeardAt: Instant | null;
}

export const begin = (row: FeederRow): Advanced => ({
  id: row.id,
  yard: row.yard,
  state: row.state,
  effects: [],
  lastHeardAt: row.lastHeardAt,
});

export function advanced(feeder: Advanced, fact: Fact, now: Instant): Advanced {
  const { state, effects } = advanceFeeder(feeder, feeder.state, fact, now);
  return {
    ...feeder,
    state,
    effects: feeder.effects.length === 0 ? effects : [...feeder.effects, ...effects],
    lastHeardAt: fact.kind === "reported" ? now : feeder.lastHeardAt,
  };
}

/** Writes the new states and all that follows from them, in the caller's transaction. */
export async function save(tx: Transaction, feeders: readonly Advanced[], now: Instant): Promise<void> {
  await tx.saveFeeders(
    feeders.map(({ id, state, lastHeardAt }) => ({ id, state, lastHeardAt, nextLookAt: nextLookAt(state, now) })),
  );
  for (const feeder of feeders) {
    if (feeder.effects.length > 0) await saveEffects(tx, feeder, now);
  }
}

async function saveEffects(tx: Transaction, { id, yard, effects }: Advanced, now: Instant): Promise<void> {
  const changes = effects.flatMap((effect) => (effect.kind === "alarmChanged" ? [effect.change] : []));
  if (changes.length > 0) await tx.logAlarmChanges(id, changes);
  for (const effect of effects) {
    switch (effect.kind) {
      case "alarmChanged":
        break; // logged above, all at once
      case "tell":
        await tx.enqueue(yard, id, effect.notice, now);
        break;
      case "orderChanged":
        await tx.saveOrder(id, effect.order);
        break;
      case "refillFound":
        await tx.saveRefill({
          id: randomUUID(),
          feeder: id,
          at: effect.at,
          grams: effect.added,
          source: "found",
          by: null,
        });
        break;
    }
  }
}

/** After the commit: who watches is told, and the outbox need not wait for its next turn. */
export function announce(ports: Ports, feeders: readonly Advanced[], revisions: ReadonlyMap<string, number>): void {
  for (const { id, yard } of feeders) ports.live.changed(yard, id, revisions.get(id) ?? null);
  if (feeders.some(({ effects }) => effects.some((effect) => effect.kind === "tell"))) ports.bell.ring();
}

/** The orders that the feeder must be told now. */
export const ordersFor = (state: FeederState, now: Instant): readonly SentOrder[] =>
  pendingOrders(state.orders, now).map(sentForm);

const sentForm = ({ id, kind, until }: Order): SentOrder => ({
  id,
  kind,
  until: until === null ? null : isoOf(until),
});
