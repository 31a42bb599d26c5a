import { deflateSync } from "node:zlib";
import type { Connections } from "../../server/adapters/store/openStore.ts";

/**
 * Puts `changed` in the place of a feeder's stored state, as if another process had written it in a step of its own: what is in memory
 * counts no more, and there is no older snapshot. Its next periodic check is due.
 * @param changed the JSON text to store instead of that of the present state
 */
export function plantState(
  { direct, feeders }: Connections,
  feeder: string,
  changed: (state: string) => string,
): string {
  const row = feeders().one(feeder);
  const no = direct.prepare(`SELECT "no" FROM "Feeder" WHERE "id" = ?`).pluck().get(feeder);
  if (row === null) throw new Error(`expected the feeder ${feeder}`);
  const planted = changed(JSON.stringify(row.state));
  const step = row.revision + 1;
  direct.prepare(`DELETE FROM "Snapshot" WHERE "feederNo" = ?`).run(no);
  direct.prepare(`INSERT INTO "Snapshot" VALUES (?, 0, ?, ?)`).run(no, step, deflateSync(planted));
  direct.prepare(`UPDATE "FeederHead" SET "revision" = ?, "nextCheckAt" = 0 WHERE "feederNo" = ?`).run(step, no);
  return planted;
}
