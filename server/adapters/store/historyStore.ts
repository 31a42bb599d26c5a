import type { HistoryPlan } from "../../domain/history/historyPlan.ts";
import type { FeederRow, HistoryStore, StoredHistory } from "../../ports.ts";
import type { Connections } from "./openStore.ts";

/** Two reads in one transaction see one moment (sqlite.org/isolation.html), also where another process writes. */
export function createHistoryStore({ directReading, feeders, rollups }: Connections): HistoryStore {
  const read = directReading.transaction(
    (feeder: string, planOf: (feeder: FeederRow) => HistoryPlan): StoredHistory | null => {
      const row = feeders().one(feeder);
      if (row === null) return null;
      const plan = planOf(row);
      return { feeder: row, plan, ...rollups().read(feeders().number(feeder), plan) };
    },
  );
  return { rollups: async (feeder, planOf) => read(feeder, planOf) };
}
