import { randomUUID } from "node:crypto";
import { nextLookAt } from "../domain/advanceFeeder.ts";
import type { Instant } from "../domain/instant.ts";
import type { Ports, Transaction } from "../ports.ts";
import { type CallPorts, hearWords } from "./calls.ts";
import type { Advanced } from "./pure/advanced.ts";
import { withUntold } from "./pure/untold.ts";

/** Where the pure step and the store meet: whatever happens to a feeder is written here, one fact after the other. */

/** Writes the new states and all that follows from them, in the caller's transaction. */
export async function save(
  ports: Pick<CallPorts, "mail">,
  tx: Transaction,
  feeders: readonly Advanced[],
  now: Instant,
): Promise<void> {
  await tx.saveFeeders(
    feeders.map(({ id, state, lastHeardAt, steppedAt }) => {
      return { id, state, lastHeardAt, steppedAt, nextLookAt: nextLookAt(state, steppedAt ?? now) };
    }),
  );
  for (const feeder of feeders) {
    if (feeder.effects.length > 0) await saveEffects(ports, tx, feeder, now);
  }
}

async function saveEffects(ports: Pick<CallPorts, "mail">, tx: Transaction, feeder: Advanced, now: Instant) {
  const { id, effects } = feeder;
  const changes = effects.flatMap((effect) => (effect.kind === "alarmChanged" ? [effect.change] : []));
  const words = effects.flatMap((effect) => (effect.kind === "call" ? [effect.word] : []));
  const ended = words.length > 0 ? await hearWords(ports, tx, feeder, words, now) : [];
  if (changes.length > 0) await tx.logAlarmChanges(id, withUntold(changes, words, ended));
  for (const effect of effects) {
    switch (effect.kind) {
      case "alarmChanged":
      case "call":
        break; // above, all at once
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
  if (feeders.some(({ effects }) => effects.some((effect) => effect.kind === "call"))) ports.bell.ring();
}
