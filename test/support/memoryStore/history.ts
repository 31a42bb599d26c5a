import { dayOf } from "../../../server/domain/history/rollupSpans.ts";
import { firstOpenQuarter } from "../../../server/domain/history/rollups.ts";
import { encodeRollup } from "../../../server/domain/history/rollupText.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import type { HistoryStore, RebuiltRollups, RollupStore, SteppedState } from "../../../server/ports.ts";
import { feederFrom } from "./feeders.ts";
import { stepThrough } from "./log.ts";
import type { Access } from "./memoryDatabase.ts";
import { mergeHoursAndDays, mergeInto, rollupKey, rollupsOf } from "./rollups.ts";
import { rowOf, rowsWhere, type Tables } from "./tables.ts";

/** Both are read from the same tables, so they are of one moment. */
export const createHistory = ({ read }: Access): HistoryStore => ({
  async rollups(feeder, planOf) {
    const tables = read();
    const stored = tables.feeders.get(feeder);
    if (stored === undefined) return null;
    const row = feederFrom(stored);
    const plan = planOf(row);
    const rollups = rollupsOf(tables.rollups, feeder, plan.level);
    const isWithin = (from: Instant) => plan.from <= from && from < plan.to;
    return { feeder: row, plan, rollups: rollups.filter(({ from }) => isWithin(from)), damaged: 0 };
  },
});

export const createRollups = ({ write }: Access): RollupStore => ({
  rebuild: (feeder) => write((tables) => rebuildRollups(tables, feeder)),
});

/** Lines after `step` tell all of the quarters from `from` on. */
interface Begin {
  readonly step: number;
  readonly stepped: SteppedState | null;
  readonly from: Instant | null;
}

function beginOf({ packs }: Tables, feeder: string): Begin {
  const thinned = (packs.get(feeder) ?? []).findLast(({ isThinned }) => isThinned);
  if (thinned === undefined) return { step: -1, stepped: null, from: null };
  const { lastStep, lastAt, steppedTo } = thinned;
  return { step: lastStep, stepped: steppedTo, from: firstOpenQuarter(lastAt) };
}

function rebuildRollups(tables: Tables, feeder: string): RebuiltRollups {
  const { zone } = feederFrom(rowOf(tables.feeders, feeder)).state.settings;
  const begin = beginOf(tables, feeder);
  const made: Tables["rollups"] = new Map();
  const lines = (tables.log.get(feeder) ?? []).filter(({ step }) => step > begin.step);
  const { linesLeftOut } = stepThrough(rebuildState, begin.stepped, lines, (closed) => {
    const isTold = ({ from }: { readonly from: Instant }) => begin.from === null || from >= begin.from;
    mergeInto(made, feeder, "quarter", closed.filter(isTold), zone);
  });
  // The first day's hours and the day itself need its earlier quarters, which stay as they are.
  const dayBegin = begin.from === null ? null : dayOf(begin.from, zone).from;
  const isKept = ({ from }: { readonly from: Instant }) =>
    dayBegin !== null && begin.from !== null && dayBegin <= from && from < begin.from;
  mergeInto(made, feeder, "quarter", rollupsOf(tables.rollups, feeder, "quarter").filter(isKept), zone);
  mergeHoursAndDays(made, feeder, rollupsOf(made, feeder, "quarter"), zone);
  const changed = replaceDifferent(tables, feeder, made, dayBegin);
  return { rows: made.size, changed, from: begin.from, unreadable: [], linesLeftOut };
}

/** Rows from `from` on; null: all. @returns how many */
function replaceDifferent({ rollups }: Tables, feeder: string, made: Tables["rollups"], from: Instant | null): number {
  let changed = 0;
  for (const row of rowsWhere(
    rollups,
    (stored) => stored.feeder === feeder && (from === null || stored.from >= from),
  )) {
    if (!made.has(rollupKey(row)) && rollups.delete(rollupKey(row))) changed += 1;
  }
  for (const [key, row] of made) {
    const stored = rollups.get(key);
    if (stored !== undefined && encodeRollup(stored.rollup) === encodeRollup(row.rollup)) continue;
    rollups.set(key, row);
    changed += 1;
  }
  return changed;
}
