import type { HistoryLevel } from "../../domain/history/historyPlan.ts";
import type { HistoryStore, StoredRollups, TimeSpan } from "../../ports.ts";
import type { Connections } from "./openStore.ts";

/** Two reads in one transaction see one moment (sqlite.org/isolation.html), also where another process writes. */
export function createHistoryStore({ directReading, feeders, rollups }: Connections): HistoryStore {
  const read = directReading.transaction(
    (feeder: string, level: HistoryLevel, { from, to }: TimeSpan): StoredRollups | null => {
      const row = feeders().one(feeder);
      return row === null ? null : { feeder: row, ...rollups().read(feeders().number(feeder), level, { from, to }) };
    },
  );
  return { rollups: async (feeder, level, within) => read(feeder, level, within) };
}
