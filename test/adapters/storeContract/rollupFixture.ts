import type { HistoryLevel } from "../../../server/domain/history/historyPlan.ts";
import type { QuarterRollup } from "../../../server/domain/history/quarterChanges.ts";
import { emptyRollup } from "../../../server/domain/history/rollup.ts";
import { instant, instantOf, isoOf } from "../../../server/domain/instant.ts";
import type { SavedStep, Store } from "../../../server/ports.ts";
import { addTwoYards, later, now } from "./contents.ts";
import { feederOf, stepOf } from "./stepRules.ts";

/** How the rules store roll-ups and read them. */

/** Of a moment of 2026 such as `11-25T06:15`, by UTC. */
export const quarter = (time: string, visits: number): QuarterRollup => ({
  from: instantOf(`2026-${time}:00Z`),
  rollup: { ...emptyRollup, counts: { ...emptyRollup.counts, visits } },
});

/** A step of the feeder that closes these quarters. */
export async function closeQuarters(
  store: Store,
  feeder: string,
  closedQuarters: readonly QuarterRollup[],
  different: Partial<SavedStep> = {},
): Promise<void> {
  const step = { ...stepOf(await feederOf(store, feeder), now), closedQuarters, ...different };
  await store.transaction((tx) => tx.saveSteps([step]));
}

/** A step that moves the feeder to another zone. */
export async function moveTo(store: Store, feeder: string, zone: string, closed: readonly QuarterRollup[] = []) {
  const { state } = await feederOf(store, feeder);
  await closeQuarters(store, feeder, closed, { state: { ...state, settings: { ...state.settings, zone } } });
}

const ever = { from: instant(0), to: later(9e10 as never), starts: [] };

/** A feeder's rows of one level in a span, all unless another is given. Null: there is no such feeder. */
export async function rollupsOf(
  store: Store,
  feeder: string,
  level: HistoryLevel,
  span: Partial<typeof ever> = {},
): Promise<readonly QuarterRollup[] | null> {
  return (await store.history.rollups(feeder, () => ({ ...ever, ...span, level })))?.rollups ?? null;
}

/** Such as `11-25T06:15 3`: the begin and the visits. */
export const visitsOf = async (...given: Parameters<typeof rollupsOf>): Promise<readonly string[] | null> =>
  (await rollupsOf(...given))?.map(({ from, rollup }) => `${isoOf(from).slice(5, 16)} ${rollup.counts.visits}`) ?? null;

export const allVisits = async (store: Store, feeder: string) => ({
  quarter: await visitsOf(store, feeder, "quarter"),
  hour: await visitsOf(store, feeder, "hour"),
  day: await visitsOf(store, feeder, "day"),
});

export const noVisits = { quarter: [], hour: [], day: [] };

/** Rowan in Alder Croft, Larch in the other yard. */
export async function addRowanAndLarch(
  store: Store,
  addFeeder: (store: Store, id: string, yard?: string) => Promise<void>,
) {
  await addTwoYards(store);
  await addFeeder(store, "rowan");
  await addFeeder(store, "larch", "other");
}
