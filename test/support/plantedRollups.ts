import type { Connections } from "../../server/adapters/store/openStore.ts";
import { rollupMerger } from "../../server/adapters/store/rollupRows.ts";
import type { HistoryLevel } from "../../server/domain/history/historyPlan.ts";
import type { QuarterRollup } from "../../server/domain/history/quarterChanges.ts";

/** Stores roll-ups as the feeder's steps do. */
export async function plantRollups(
  { direct, feeders, transact }: Connections,
  feeder: string,
  levels: Readonly<Record<HistoryLevel, readonly QuarterRollup[]>>,
): Promise<void> {
  const merge = rollupMerger(direct);
  const no = feeders().number(feeder);
  await transact(async () => {
    for (const [level, rollups] of Object.entries(levels)) {
      for (const rollup of rollups) merge(no, { level: level as HistoryLevel, ...rollup });
    }
  });
}
