import type { Fact } from "../domain/facts.ts";
import { after, between, type Instant } from "../domain/instant.ts";
import { silenceBeginsAt } from "../domain/silence/feederSilence.ts";
import { type FeederRow, type Ports, StoreBusy, StoreFull } from "../ports.ts";
import { applyFact, startUpdate } from "./pure/feederUpdate.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { announceUpdates, saveUpdates } from "./saveUpdates.ts";

const feedersPerCommit = 200;

/**
 * Gives every feeder that is due the fact "a minute passed": it detects silences, delays that have run out and forecasts that
 * came true. The work is proportional to the due feeders, not to all feeders.
 * @param listeningSince when this server started; null: nobody asks what was before. A silence that began while it was off is its own, so
 *   such a feeder is not checked before it has reported, or has been silent for as long again.
 * @returns how many were checked
 * @throws AggregateError with what failed, after all others were checked
 */
export async function runPeriodicChecks(ports: Ports, listeningSince: Instant | null = null): Promise<number> {
  const errors: unknown[] = [];
  let checked = 0;
  for (;;) {
    const now = ports.clock.now();
    const due = await ports.store.yards.dueForCheck(now, feedersPerCommit);
    if (due.length === 0) return checked;

    const done = await checkFeeders(ports, due, now, listeningSince);
    checked += due.length - done.errors.length - done.waiting;
    errors.push(...done.errors);
    // Those that failed or wait are still due: to read them again and again would never end.
    if (due.length < feedersPerCommit || done.errors.length + done.waiting > 0) break;
  }
  if (errors.length > 0) throw new AggregateError(errors, `${errors.length} feeders could not be checked`);
  return checked;
}

/** The same for one feeder, due or not: something hints that it may have gone silent. Only what is true anyway comes of it. */
export const checkFeeder = async (ports: Ports, feeder: string): Promise<void> =>
  void (await checkInOneCommit(ports, [feeder], ports.clock.now(), null));

interface Checked {
  readonly errors: readonly unknown[];
  readonly waiting: number; // of feeders that were silent only since nobody listened
}

/** All in one commit; if that fails, one by one, so that a damaged feeder doesn't stop the others. */
async function checkFeeders(
  ports: Ports,
  due: readonly string[],
  now: Instant,
  listeningSince: Instant | null,
): Promise<Checked> {
  try {
    return { errors: [], waiting: await checkInOneCommit(ports, due, now, listeningSince) };
  } catch (error) {
    if (error instanceof StoreBusy || error instanceof StoreFull) throw error;
    const [first] = due;
    if (due.length === 1)
      return { errors: [new Error(`feeder ${first} could not be checked`, { cause: error })], waiting: 0 };
    const each: Checked[] = [];
    for (const feeder of due) each.push(await checkFeeders(ports, [feeder], now, listeningSince));
    return {
      errors: each.flatMap(({ errors }) => errors),
      waiting: each.reduce((sum, { waiting }) => sum + waiting, 0),
    };
  }
}

/** @returns how many wait */
async function checkInOneCommit(
  ports: Ports,
  due: readonly string[],
  now: Instant,
  listeningSince: Instant | null,
): Promise<number> {
  const minutePassed: Fact = { kind: "minutePassed" };
  const { feeders, revisions, waiting } = await ports.store.transaction(async (tx) => {
    const all = await tx.feeders(due);
    const rows = all.filter((row) => !fellSilentUnheard(row, listeningSince, now));
    const checks = rows.map((row) => ({ row, at: nextMoment(row.lastStepAt, now) }));
    const updates = checks.map(({ row, at }) => ({
      feeder: applyFact(startUpdate(row), minutePassed, at),
      line: { at, content: { kind: "check" } as const },
    }));
    if (updates.length > 0) await saveUpdates(ports, tx, updates, now);
    return {
      feeders: updates.map(({ feeder }) => feeder),
      revisions: new Map(rows.map((row) => [row.id, row.revision + 1])),
      waiting: all.length - rows.length,
    };
  });
  announceUpdates(ports, feeders, revisions);
  return waiting;
}

/** Its limit passed while the server was off, and has not passed again since the server is there. */
function fellSilentUnheard(
  { state, lastStepAt, lastReportAt }: FeederRow,
  listeningSince: Instant | null,
  now: Instant,
): boolean {
  const silentFrom = silenceBeginsAt(state.reporting, state.settings);
  if (listeningSince === null || silentFrom === null || lastStepAt === null || lastReportAt === null) return false;
  const limit = between(lastReportAt, silentFrom);
  return (
    lastStepAt < silentFrom && lastStepAt < listeningSince && now < after(listeningSince, limit) && now >= silentFrom
  );
}
