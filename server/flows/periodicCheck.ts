import type { Fact } from "../domain/facts.ts";
import type { Instant } from "../domain/instant.ts";
import { type Ports, StoreBusy, StoreFull } from "../ports.ts";
import { applyFact, startUpdate } from "./pure/feederUpdate.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { announceUpdates, saveUpdates } from "./saveUpdates.ts";

const feedersPerCommit = 200;

/**
 * Gives every feeder that is due the fact "a minute passed": it detects silences, delays that have run out and forecasts that
 * came true. The work is proportional to the due feeders, not to all feeders.
 * @returns how many were checked
 * @throws AggregateError with what failed, after all others were checked
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
    // Those that failed are still due: to read them again and again would never end.
    if (due.length < feedersPerCommit || done.length > 0) break;
  }
  if (errors.length > 0) throw new AggregateError(errors, `${errors.length} feeders could not be checked`);
  return checked;
}

/** The same for one feeder, due or not: something hints that it may have gone silent. Only what is true anyway comes of it. */
export const checkFeeder = (ports: Ports, feeder: string): Promise<void> =>
  checkInOneCommit(ports, [feeder], ports.clock.now());

/** All in one commit; if that fails, one by one, so that a damaged feeder doesn't stop the others. @returns what failed */
async function checkFeeders(ports: Ports, due: readonly string[], now: Instant): Promise<readonly unknown[]> {
  try {
    await checkInOneCommit(ports, due, now);
    return [];
  } catch (error) {
    if (error instanceof StoreBusy || error instanceof StoreFull) throw error;
    const [first] = due;
    if (due.length === 1) return [new Error(`feeder ${first} could not be checked`, { cause: error })];
    const errors: unknown[] = [];
    for (const feeder of due) errors.push(...(await checkFeeders(ports, [feeder], now)));
    return errors;
  }
}

async function checkInOneCommit(ports: Ports, due: readonly string[], now: Instant): Promise<void> {
  const minutePassed: Fact = { kind: "minutePassed" };
  const { feeders, revisions } = await ports.store.transaction(async (tx) => {
    const rows = await tx.feeders(due);
    const checks = rows.map((row) => ({ row, at: nextMoment(row.lastStepAt, now) }));
    const updates = checks.map(({ row, at }) => ({
      feeder: applyFact(startUpdate(row), minutePassed, at),
      line: { at, content: { kind: "check" } as const },
    }));
    await saveUpdates(ports, tx, updates, now);
    return {
      feeders: updates.map(({ feeder }) => feeder),
      revisions: new Map(rows.map((row) => [row.id, row.revision + 1])),
    };
  });
  announceUpdates(ports, feeders, revisions);
}
