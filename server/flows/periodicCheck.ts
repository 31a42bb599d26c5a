import type { Fact } from "../domain/facts.ts";
import type { Instant } from "../domain/instant.ts";
import { type Ports, StoreBusy, StoreFull } from "../ports.ts";
import { applyFact, startUpdate } from "./pure/feederUpdate.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { announceUpdates, saveUpdates } from "./saveUpdates.ts";

const feedersPerCommit = 200;

/**
 * Gives every feeder that is due the fact "a minute passed": silences, delays that run out, forecasts that come true. The
 * work is proportional to what is due, not to how many feeders there are.
 * @returns how many were looked at.
 * @throws AggregateError with what failed, after all others were looked at
 */
export async function runPeriodicChecks(ports: Ports): Promise<number> {
  const errors: unknown[] = [];
  let checked = 0;
  for (;;) {
    const now = ports.clock.now();
    const due = await ports.store.yards.dueForCheck(now, feedersPerCommit);
    if (due.length === 0) return checked;

    const done = await checkFeeders(ports, due, now);
    checked += due.length - done.length;
    errors.push(...done);
    // Those that failed are due still: who asked again and again for them would never end.
    if (due.length < feedersPerCommit || done.length > 0) break;
  }
  if (errors.length > 0) throw new AggregateError(errors, `${errors.length} feeders could not be looked at`);
  return checked;
}

/** All in one commit; where that fails each by itself, so that one damaged feeder doesn't stop the others. @returns what failed */
async function checkFeeders(ports: Ports, due: readonly string[], now: Instant): Promise<readonly unknown[]> {
  try {
    await checkInOneCommit(ports, due, now);
    return [];
  } catch (error) {
    if (error instanceof StoreBusy || error instanceof StoreFull) throw error;
    const [first] = due;
    if (due.length === 1) return [new Error(`feeder ${first} could not be looked at`, { cause: error })];
    const errors: unknown[] = [];
    for (const feeder of due) errors.push(...(await checkFeeders(ports, [feeder], now)));
    return errors;
  }
}

async function checkInOneCommit(ports: Ports, due: readonly string[], now: Instant): Promise<void> {
  const minutePassed: Fact = { kind: "minutePassed" };
  const { feeders, revisions } = await ports.store.transaction(async (tx) => {
    const rows = await tx.feeders(due);
    const looks = rows.map((row) => ({ row, at: nextMoment(row.lastStepAt, now) }));
    const feeders = looks.map(({ row, at }) => applyFact(startUpdate(row), minutePassed, at));
    await saveUpdates(ports, tx, feeders, now);
    await tx.appendChecks(looks.map(({ row, at }) => ({ feeder: row.id, at })));
    return { feeders, revisions: new Map(rows.map((row) => [row.id, row.revision + 1])) };
  });
  announceUpdates(ports, feeders, revisions);
}
