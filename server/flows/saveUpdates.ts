import { randomUUID } from "node:crypto";
import { nextCheckAt } from "../domain/advanceFeeder.ts";
import type { Instant } from "../domain/instant.ts";
import type { Ports, SavedStep, Transaction } from "../ports.ts";
import { type EscalationPorts, handleAlarmEvents } from "./escalations.ts";
import type { FeederUpdate } from "./pure/feederUpdate.ts";
import { retainedContent } from "./pure/retainedContent.ts";
import { markUnnotified } from "./pure/unnotified.ts";

/** Saves what happens to feeders: the results of the pure steps, one fact after the other. */

/** What happened to a feeder, as its log has it, and what came of it. */
export interface LoggedUpdate {
  readonly feeder: FeederUpdate;
  readonly line: SavedStep["line"];
}

/** Saves the steps with their new states and all their effects, in the caller's transaction. */
export async function saveUpdates(
  ports: Pick<EscalationPorts, "email">,
  tx: Transaction,
  updates: readonly LoggedUpdate[],
  now: Instant,
): Promise<void> {
  await tx.saveSteps(updates.map((update) => savedStep(update, now)));
  for (const { feeder } of updates) {
    if (feeder.effects.length > 0) await saveEffects(ports, tx, feeder, now);
  }
}

function savedStep({ feeder, line }: LoggedUpdate, now: Instant): SavedStep {
  const { id, revision, state, rollups, closedQuarters, lastReportAt, lastStepAt, effects } = feeder;
  const isPlain = effects.length === 0 && line.content.kind !== "entry";
  return {
    id,
    revision,
    state,
    rollups,
    closedQuarters,
    lastReportAt,
    lastStepAt,
    nextCheckAt: nextCheckAt(state, lastStepAt ?? now),
    line,
    isPlain,
  };
}

async function saveEffects(ports: Pick<EscalationPorts, "email">, tx: Transaction, feeder: FeederUpdate, now: Instant) {
  const { id, effects } = feeder;
  const changes = effects.flatMap((effect) => (effect.kind === "alarmChanged" ? [effect.change] : []));
  const events = effects.flatMap((effect) => (effect.kind === "alarmEvent" ? [effect.event] : []));
  const ended = events.length > 0 ? await handleAlarmEvents(ports, tx, feeder, events, now) : [];
  if (changes.length > 0) await tx.appendAlarmChanges(id, markUnnotified(changes, events, ended));
  for (const effect of effects) {
    switch (effect.kind) {
      case "alarmChanged":
      case "alarmEvent":
        break; // saved above, all together
      case "orderChanged":
        await tx.saveOrder(id, effect.order);
        break;
      case "refillDetected":
        await tx.saveRefill({
          id: randomUUID(),
          feeder: id,
          at: effect.at,
          grams: effect.added,
          source: "detected",
          by: null,
        });
        break;
    }
  }
}

/** After the commit: connected browsers are notified, what a broker retains is made to agree, and the outbox is drained at once. */
export function announceUpdates(
  ports: Ports,
  feeders: readonly FeederUpdate[],
  revisions: ReadonlyMap<string, number>,
): void {
  for (const { id, yard, state } of feeders) {
    ports.liveFeed.announceChange(yard, id, revisions.get(id) ?? null);
    ports.retainedMessages.update(id, () => retainedContent(state, ports.clock.now()));
  }
  if (feeders.some(({ effects }) => effects.some((effect) => effect.kind === "alarmEvent")))
    ports.outboxSignal.notify();
}
