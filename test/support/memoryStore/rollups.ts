import type { HistoryLevel } from "../../../server/domain/history/historyPlan.ts";
import type { QuarterRollup } from "../../../server/domain/history/quarterChanges.ts";
import { mergeRollups } from "../../../server/domain/history/rollup.ts";
import { dayOf, hourOf, quarterOf, type RollupSpan } from "../../../server/domain/history/rollupSpans.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import { compareBy, keyOf, removeWhere, rowsWhere, type StoredRollup, type Tables } from "./tables.ts";

/** The rows of roll-ups. */

type Table = Tables["rollups"];

/** What has closed is merged into its quarter, hour and local day. Another zone has other hours and days, made from all quarters. */
export function saveQuarters(
  { rollups }: Tables,
  feeder: string,
  closed: readonly QuarterRollup[],
  zone: { readonly before: string; readonly now: string },
): void {
  mergeInto(rollups, feeder, "quarter", closed, zone.now);
  const isSame = zone.before === zone.now;
  if (!isSame) removeWhere(rollups, (row) => row.feeder === feeder && row.level !== "quarter");
  mergeHoursAndDays(rollups, feeder, isSame ? closed : rollupsOf(rollups, feeder, "quarter"), zone.now);
}

export function mergeHoursAndDays(
  table: Table,
  feeder: string,
  quarters: readonly QuarterRollup[],
  zone: string,
): void {
  mergeInto(table, feeder, "hour", quarters, zone);
  mergeInto(table, feeder, "day", quarters, zone);
}

const spanOf: Readonly<Record<HistoryLevel, (at: Instant, zone: string) => RollupSpan>> = {
  quarter: quarterOf,
  hour: hourOf,
  day: dayOf,
};

export function mergeInto(
  table: Table,
  feeder: string,
  level: HistoryLevel,
  quarters: readonly QuarterRollup[],
  zone: string,
): void {
  for (const { from: at, rollup } of quarters) {
    const { from } = spanOf[level](at, zone);
    const key = rollupKey({ feeder, level, from });
    const stored = table.get(key)?.rollup;
    const merged = stored === undefined ? rollup : mergeRollups(stored, rollup);
    table.set(key, { feeder, level, from, rollup: merged });
  }
}

export const rollupKey = ({ feeder, level, from }: Omit<StoredRollup, "rollup">): string =>
  keyOf(feeder, level, String(from));

/** In order of time. */
export const rollupsOf = (table: Table, feeder: string, level: HistoryLevel): readonly QuarterRollup[] =>
  rowsWhere(table, (row) => row.feeder === feeder && row.level === level)
    .sort(compareBy(({ from }) => from))
    .map(({ from, rollup }) => ({ from, rollup }));
