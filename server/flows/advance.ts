import { randomUUID } from "node:crypto";
import { nextLookAt } from "../domain/advanceFeeder.ts";
import { noticeOf } from "../domain/alarms/notices.ts";
import type { Instant } from "../domain/instant.ts";
import type { Ports, Transaction } from "../ports.ts";
import type { Advanced } from "./pure/advanced.ts";

/** Where the pure step and the store meet: whatever happens to a feeder is written here, one fact after the other. */

/** Writes the new states and all that follows from them, in the caller's transaction. */
export async function save(tx: Transaction, feeders: readonly Advanced[], now: Instant): Promise<void> {
  await tx.saveFeeders(
    feeders.map(({ id, state, lastHeardAt, steppedAt }) => {
      return { id, state, lastHeardAt, steppedAt, nextLookAt: nextLookAt(state, steppedAt ?? now) };
    }),
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
      case "call": {
        const notice = noticeOf({ id }, effect.word);
        if (notice === null) break;
        for (const person of (await tx.circle(yard))?.people ?? []) {
          await tx.enqueue({ person: person.id, by: "push", yard, feeder: id, notice }, now);
        }
        break;
      }
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
          toldAt: null,
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
