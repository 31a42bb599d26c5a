import { constants, deflateSync, inflateSync } from "node:zlib";
import type Database from "better-sqlite3";
import type { FeederState } from "../../domain/feeder.ts";
import { decodeRollups, encodeRollups, type StoredRollups } from "../../domain/history/storedRollups.ts";
import { stateProblem } from "../../domain/stateShape.ts";
import { type StateUpgrades, upgradeState } from "../../domain/stateUpgrades.ts";
import type { SteppedState } from "../../ports.ts";

/**
 * A feeder's state after a step, as it is stored: JSON, deflated (RFC 1950, whose checksum shows a changed octet). A year makes 12 kB
 * of JSON about a third of that. Its open roll-ups are in a field of their own.
 */
export const encodeState = ({ state, rollups }: SteppedState): Buffer =>
  deflateSync(JSON.stringify({ ...state, rollups: encodeRollups(rollups) }), { level: constants.Z_BEST_SPEED });

/**
 * Upgrades a state that an older version stored.
 * @param upgrades those of this version, unless a test gives others
 * @throws Error for a state that is damaged, or that a newer version wrote: it would be overwritten.
 */
export function decodeState(stored: Uint8Array, upgrades?: StateUpgrades): SteppedState {
  const { rollups, ...upgraded } = upgradeState(JSON.parse(inflateSync(stored).toString("utf8")), upgrades) as Stored;
  const problem = stateProblem(upgraded);
  if (problem !== null) throw new Error(problem);
  return { state: upgraded as FeederState, rollups: decodeRollups(rollups) };
}

type Stored = Partial<FeederState> & { readonly rollups?: StoredRollups };

export interface StoredSnapshot {
  readonly slot: number;
  readonly step: number;
  readonly state: Buffer;
}

/** The two latest snapshots of a feeder are in slots 0 and 1, which take turns. This one is from the end of its thinned log. */
export const slotOfThinned = 2;

export function snapshotStatements(database: Database.Database) {
  const columns = `"slot", "step", "state"`;
  const read = database.prepare<[number], StoredSnapshot>(
    `SELECT ${columns} FROM "Snapshot" WHERE "feederNo" = ? AND "slot" < ${slotOfThinned} ORDER BY "step" DESC`,
  );
  const readThinned = database.prepare<[number], StoredSnapshot>(
    `SELECT ${columns} FROM "Snapshot" WHERE "feederNo" = ? AND "slot" = ${slotOfThinned}`,
  );
  return {
    newestFirst: (feederNo: number) => read.all(feederNo),
    /** Null while nothing of its log is thinned. */
    ofThinned: (feederNo: number) => readThinned.get(feederNo) ?? null,
  };
}

export function snapshotWriter(database: Database.Database) {
  const replace = database.prepare(
    `INSERT OR REPLACE INTO "Snapshot" ("feederNo", "slot", "step", "state") VALUES (?, ?, ?, ?)`,
  );
  return (feederNo: number, { slot, step, state }: StoredSnapshot) => replace.run(feederNo, slot, step, state);
}
