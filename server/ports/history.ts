import type { HistoryLevel } from "../domain/history/historyPlan.ts";
import type { QuarterRollup } from "../domain/history/quarterChanges.ts";
import type { TimeSpan } from "./records.ts";
import type { FeederRow } from "./rows.ts";

/** What charts read. */
export interface HistoryStore {
  /**
   * Roll-ups of a level that begin within the span, and the feeder, both as of one moment: what is stored and what is still open never
   * overlap, whatever is written meanwhile. Null: there is no such feeder. @throws FeederDamaged
   */
  rollups(feeder: string, level: HistoryLevel, within: TimeSpan): Promise<StoredRollups | null>;
}

export interface StoredRollups {
  readonly feeder: FeederRow;
  readonly rollups: readonly QuarterRollup[]; // in order of time
  readonly damaged: number; // that could not be read, and are left out
}
