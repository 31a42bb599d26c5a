import type { HistoryPlan } from "../domain/history/historyPlan.ts";
import type { QuarterRollup } from "../domain/history/quarterChanges.ts";
import type { FeederRow } from "./rows.ts";

/** What charts read. */
export interface HistoryStore {
  /**
   * The stored roll-ups of a plan, and the feeder, both as of one moment: what is stored and what is still open never overlap, whatever
   * is written meanwhile. Null: there is no such feeder. @param planOf by the feeder as it is at that moment @throws FeederDamaged
   */
  rollups(feeder: string, planOf: (feeder: FeederRow) => HistoryPlan): Promise<StoredHistory | null>;
}

export interface StoredHistory {
  readonly feeder: FeederRow;
  readonly plan: HistoryPlan;
  readonly rollups: readonly QuarterRollup[]; // of the plan's level, in order of time
  readonly damaged: number; // that could not be read, and are left out
}
