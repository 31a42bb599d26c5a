import type { Fact } from "../domain/facts.ts";
import type { Ports } from "../ports.ts";
import { announce, save } from "./advance.ts";
import { advanced, begin } from "./pure/advanced.ts";
import { nextMoment } from "./pure/nextMoment.ts";

const feedersPerCommit = 200;

/**
 * Gives every feeder that is due the fact "a minute passed": silences, delays that run out, forecasts that come true. The
 * work is proportional to what is due, not to how many feeders there are.
 * @returns how many were looked at.
 */
export async function patrol(ports: Ports): Promise<number> {
  const minutePassed: Fact = { kind: "minutePassed" };
  let looked = 0;
  for (;;) {
    const now = ports.clock.now();
    const due = await ports.store.yards.dueForLook(now, feedersPerCommit);
    if (due.length === 0) return looked;

    const { feeders, revisions } = await ports.store.transaction(async (tx) => {
      const rows = await tx.feeders(due);
      const looks = rows.map((row) => ({ row, at: nextMoment(row.steppedAt, now) }));
      const feeders = looks.map(({ row, at }) => advanced(begin(row), minutePassed, at));
      await save(ports, tx, feeders, now);
      await tx.recordLooks(looks.map(({ row, at }) => ({ feeder: row.id, at })));
      return { feeders, revisions: new Map(rows.map((row) => [row.id, row.revision + 1])) };
    });
    announce(ports, feeders, revisions);
    looked += feeders.length;
    if (due.length < feedersPerCommit) return looked;
  }
}
