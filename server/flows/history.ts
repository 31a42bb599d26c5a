import type { HistoryView } from "../contract/api.ts";
import type { HistorySpan } from "../contract/historyRequest.ts";
import { ruleOf } from "../domain/faults.ts";
import { planHistory } from "../domain/history/historyPlan.ts";
import { type HistorySeries, historySeries } from "../domain/history/historySeries.ts";
import { type Instant, instant, isoOf, minutes } from "../domain/instant.ts";
import { zoneOrFallback } from "../domain/zone.ts";
import type { FeederRow, HistoryStore } from "../ports.ts";

/** What a chart shows of a feeder: the stored roll-ups, and what is not stored yet. */

export interface FoundHistory {
  readonly view: HistoryView;
  readonly madeFrom: string; // as `historySource` has it
}

/** Null: there is no such feeder. */
export async function historyView(
  store: HistoryStore,
  feeder: string,
  span: HistorySpan,
  now: Instant,
): Promise<FoundHistory | null> {
  const found = await store.rollups(feeder, ({ state }) => planHistory({ ...span, zone: state.settings.zone }));
  if (found === null) return null;
  const { feeder: row, plan, rollups, damaged } = found;
  const { from, to, standingAlarms, ...series } = historySeries(
    plan,
    [...rollups, ...row.rollups.open],
    minuteOf(now),
    span.columns,
  );
  return {
    view: {
      feeder,
      zone: zoneOrFallback(row.state.settings.zone),
      from: isoOf(from),
      to: isoOf(to),
      ...series,
      standingAlarms: alarmViews(standingAlarms),
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
