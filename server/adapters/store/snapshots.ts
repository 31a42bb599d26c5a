import { constants, deflateSync, inflateSync } from "node:zlib";
import type Database from "better-sqlite3";
import type { FeederState } from "../../domain/feeder.ts";
import { stateProblem } from "../../domain/stateShape.ts";
import { type StateUpgrades, upgradeState } from "../../domain/stateUpgrades.ts";

/**
 * A feeder's state after a step, as it is stored: JSON, deflated (RFC 1950, whose checksum shows a changed octet). A year makes 12 kB
 * of JSON about a third of that.
 */
export const encodeState = (state: FeederState): Buffer =>
  deflateSync(JSON.stringify(state), { level: constants.Z_BEST_SPEED });

/**
 * Upgrades a state that an older version stored.
 * @param upgrades those of this version, unless a test gives others
 * @throws Error for a state that is damaged, or that a newer version wrote: it would be overwritten.
 */
export function decodeState(stored: Uint8Array, upgrades?: StateUpgrades): FeederState {
  const state = upgradeState(JSON.parse(inflateSync(stored).toString("utf8")), upgrades);
  const problem = stateProblem(state);
  if (problem !== null) throw new Error(problem);
  return state as FeederState;
}

export interface StoredSnapshot {
  readonly slot: number;
  readonly step: number;
  readonly state: Buffer;
}

/** The two latest snapshots of each feeder, in two slots that take turns. */
export function snapshotStatements(database: Database.Database) {
  const read = database.prepare<[number], StoredSnapshot>(
    `SELECT "slot", "step", "state" FROM "Snapshot" WHERE "feederNo" = ? ORDER BY "step" DESC`,
  );
  return { newestFirst: (feederNo: number) => read.all(feederNo) };
}

export function snapshotWriter(database: Database.Database) {
  const replace = database.prepare(
    `INSERT OR REPLACE INTO "Snapshot" ("feederNo", "slot", "step", "state") VALUES (?, ?, ?, ?)`,
  );
  return (feederNo: number, { slot, step, state }: StoredSnapshot) => replace.run(feederNo, slot, step, state);
}
