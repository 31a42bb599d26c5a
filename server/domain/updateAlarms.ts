import { advanceAlarms, faultsByKind } from "./alarms/advanceAlarms.ts";
import { type FaultSituation, suppressionOf } from "./alarms/suppression.ts";
import { isBenchRunning } from "./benchRun/benchRun.ts";
import type { Effect } from "./effects.ts";
import type { Fault } from "./faults.ts";
import { clearUnpaidPortions } from "./feed/feed.ts";
import type { FeederState } from "./feeder.ts";
import { findFaults, withForecast } from "./findFaults.ts";
import type { Instant } from "./instant.ts";
import { markOrdersOverdue } from "./orders/orderTransitions.ts";
import { isPaused } from "./orders/pauseStatus.ts";

/** From the state to its alarms: late orders, faults, alarms. */
export function updateAlarms(state: FeederState, now: Instant, effects: Effect[]): FeederState {
  const { orders, changed } = markOrdersOverdue(state.orders, state.settings, now);
  for (const order of changed) effects.push({ kind: "orderChanged", order });
  const paused = isPaused(orders, now);
  const current = withForecast(
    clearExplainedUnpaid(orders === state.orders ? state : { ...state, orders }, paused, now),
    now,
  );
  const alarms = advanceAlarms(current, faultSituation(current, findFaults(current, now), paused, now), effects);
  return alarms === current.alarms ? current : { ...current, alarms };
}

const faultSituation = (
  { alarms, settings, bench }: FeederState,
  faults: readonly Fault[],
  paused: boolean,
  now: Instant,
): FaultSituation => ({
  faults: faultsByKind(faults),
  alarms,
  paused,
  placement: settings.placement ?? (isBenchRunning(bench) ? "benchRun" : "inGarden"),
  now,
});

/**
 * Deposits that went unpaid while another alarm explained it belong to that alarm. When it ends, by a refill for example, they
 * must not raise a new one; the next unpaid deposit will.
 */
function clearExplainedUnpaid(state: FeederState, paused: boolean, now: Instant): FeederState {
  const kind = state.alarms.depositUnpaid === undefined ? "paymentUnclear" : "depositUnpaid";
  const unpaid = state.alarms[kind];
  if (unpaid?.state !== "suppressedByDesign" || unpaid.raised !== null) return state;
  const situation = faultSituation(state, findFaults(state, now), paused, now);
  return suppressionOf(kind, situation) === null ? { ...state, feed: clearUnpaidPortions(state.feed) } : state;
}
