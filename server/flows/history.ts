import type { HistoryView } from "../contract/api.ts";
import type { HistorySpan } from "../contract/historyRequest.ts";
import { coldLimits } from "../domain/cold/coldLimits.ts";
import { ruleOf } from "../domain/faults.ts";
import { planHistory } from "../domain/history/historyPlan.ts";
import { type HistorySeries, historySeries } from "../domain/history/historySeries.ts";
import { refillSteps } from "../domain/history/refillSteps.ts";
import { type Instant, instant, isoOf, minutes } from "../domain/instant.ts";
import { zoneOrFallback } from "../domain/zone.ts";
import type { FeederRow, HistoryStore, RecordStore } from "../ports.ts";

/** What a chart shows of a feeder: the stored roll-ups, and what is not stored yet. */

export interface FoundHistory {
  readonly view: HistoryView;
  readonly madeFrom: string; // as `historySource` has it
}

interface HistoryReader {
  readonly history: HistoryStore;
  readonly records: Pick<RecordStore, "refills">;
}

/**
 * Null: there is no such feeder. A refill that is entered meanwhile may be in the answer before its step is: the next one, of a
 * newer revision, has both.
 */
export async function historyView(
  store: HistoryReader,
  feeder: string,
  span: HistorySpan,
  now: Instant,
): Promise<FoundHistory | null> {
  const found = await store.history.rollups(feeder, ({ state }) => planHistory({ ...span, zone: state.settings.zone }));
  if (found === null) return null;
  const { feeder: row, plan, rollups, damaged } = found;
  const { from, to, standingAlarms, ...series } = historySeries(
    plan,
    [...rollups, ...row.rollups.open],
    minuteOf(now),
    span.columns,
  );
  const { columns } = span;
  const isCold = columns.some((name) => name.includes("Celsius") || name.startsWith("battery"));
  return {
    view: {
      feeder,
      zone: zoneOrFallback(row.state.settings.zone),
      from: isoOf(from),
      to: isoOf(to),
      ...series,
      standingAlarms: alarmViews(standingAlarms),
      ...(columns.includes("hopperGrams") && {
        refills: refillSteps(from, series.lengthMinutes, await store.records.refills(feeder, from, to)),
      }),
      ...(isCold && { limits: coldLimits(row.state.settings, row.state.cold) }),
      damaged,
    },
    madeFrom: historySource(row, span, now),
  };
}

/**
 * From what the answer is made, as text: from the same it is the same, as long as nobody but this process writes roll-ups. Each change
 * of a roll-up or of the zone is a step of the feeder, or the repair of its state.
 */
export const historySource = (
  { id, revision, rebuiltAt }: Pick<FeederRow, "id" | "revision" | "rebuiltAt">,
  { from, to, points, columns }: HistorySpan,
  now: Instant,
): string => JSON.stringify([id, revision, rebuiltAt, from, to, points, columns, minuteOf(now)]);

/** Shares of the current bucket count up to the begin of the minute, so that the answer stays the same for that long. */
const minuteOf = (now: Instant): Instant => instant(Math.floor(now / minutes(1)) * minutes(1));

const alarmViews = (standing: HistorySeries["standingAlarms"]): HistoryView["standingAlarms"] =>
  Object.entries(standing).map(([fault, runs]) => ({
    fault,
    title: ruleOf(fault as keyof typeof standing).title,
    runs,
  }));
