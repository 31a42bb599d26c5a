import { texts } from "../text/index.ts";
import type { Alarm } from "./alarms/alarm.ts";
import { isBenchRunning } from "./benchRun/benchRun.ts";
import { type FaultKind, faultKinds, ruleOf } from "./faults.ts";
import type { FeederState } from "./feeder.ts";
import { foodOutlook } from "./foodOutlook.ts";
import { assumedFoodSettings } from "./hopper/foodText.ts";
import { after, days, earlier, type Instant, later, minutes, type Span } from "./instant.ts";
import { displayedStatus, isPaused, pauseStatus } from "./orders/pauseStatus.ts";
import { silenceBeginsAt } from "./silence/feederSilence.ts";

/**
 * What must be known of a feeder before any text says that it is OK. In the order in which a keeper needs to know what is
 * missing. A condition fails where its fact is not known, or known to be bad.
 */
const allClearConditions = {
  /** It feeds birds: not all alarms notify of a feeder in the workshop, in storage or on a bench run. */
  inGarden: ({ settings, bench }) => (settings.placement ?? "inGarden") === "inGarden" && !isBenchRunning(bench),
  /** It has reported its own state, not only what an earlier start left behind. */
  hasReported: ({ reporting, latestReadings }) => reporting.kind === "reporting" && latestReadings !== null,
  reportsOnTime: (state, now) => now < reportsValidUntil(state),
  notPaused: ({ orders }, now) => !isPaused(orders, now),
  /** The last order is done, or its time has ended. */
  followsOrders: ({ orders }, now) => {
    if (orders.newest === null) return true;
    const status = displayedStatus(orders, orders.newest, now);
    return status === "ended" || (status === "confirmed" && orders.newest.kind === "resume");
  },
  /** By its own statement or by food that it gave. A feeder that never states it feeds unless the last order was a pause. */
  isFeeding: ({ orders }, now) => {
    const { kind } = pauseStatus(orders, now);
    return kind === "feeding" || (kind === "unknown" && orders.newest?.kind !== "pause");
  },
  /** No fault is present, none is shelved or suppressed, and none left damage that somebody must check. */
  hasNoOpenFaults: ({ alarms }) => faultKinds.every((kind) => isOver(alarms[kind])),
  /** Each fitted sensor has reported at least once. */
  sensorsHaveReported: (state) => unusableSensors(state).length === 0,
  levelIsKnown: ({ hopper }) => hopper.isKnown && hopper.emptySince === null,
  /** For longer than a day, by what these birds eat and by weights that were entered or measured by a scale. */
  foodLastsADay: (state, now) => foodLastsUntil(state, now) !== null,
} as const satisfies Record<string, (state: FeederState, now: Instant) => boolean>;

export type AllClearCondition = keyof typeof allClearConditions;

/** The first condition that fails; null: the feeder is known to be OK. */
export function allClearObstacle(state: FeederState, now: Instant): AllClearCondition | null {
  const names = Object.keys(allClearConditions) as readonly AllClearCondition[];
  return names.find((name) => !allClearConditions[name](state, now)) ?? null;
}

/** Until when it may be called OK without another report; null where it may not be now. */
export function allClearUntil(state: FeederState, now: Instant): Instant | null {
  const lasts = allClearObstacle(state, now) === null ? foodLastsUntil(state, now) : null;
  return lasts === null ? null : earlier(reportsValidUntil(state), lasts);
}

/** Longer than this after its last report the state of a feeder is not known, however irregular its reports are. Our choice. */
const reportWithin = minutes(15);
const reportWithinIntervals = 3;

function reportsValidUntil({ reporting, settings }: FeederState): Instant {
  const silent = silenceBeginsAt(reporting, settings);
  if (reporting.kind === "neverReported" || silent === null)
    return reporting.kind === "neverReported" ? reporting.since : reporting.lastReportAt;
  const late = Math.max(reportWithin, reportWithinIntervals * settings.reportEvery) as Span;
  return earlier(silent, later(reporting.lastReportAt, after(reporting.lastReportAt, late)));
}

/** A day before the food may end; null where that is past, or isn't known. */
function foodLastsUntil(state: FeederState, now: Instant): Instant | null {
  const { forecast } = foodOutlook(state, now);
  if (forecast.kind !== "emptyAt" || assumedFoodSettings(state.hopper, state.settings).length > 0) return null;
  const until = after(forecast.p10, -days(1) as Span);
  return until > now ? until : null;
}

/** An alarm that has ended and only waits for an acknowledgement is no fault any more. */
const isOver = (alarm: Alarm | undefined): boolean =>
  alarm === undefined || (alarm.state === "returnedUnacknowledged" && alarm.presentSince === null);

/** Faults that keep it from being OK, also those that notify nobody: shelved, suppressed, or within their on-delay. */
export const openFaults = ({ alarms }: FeederState): readonly FaultKind[] =>
  faultKinds.filter((kind) => !isOver(alarms[kind]));

/** Names of fitted sensors that have never reported: "button", "metal detector". */
export function unusableSensors({ settings, sensors, feed, hopper }: FeederState): readonly string[] {
  const { chute, scale } = sensors;
  const hasReported = {
    button: sensors.button.lastCountAt !== null,
    detector: sensors.detector.lastCountAt !== null,
    perch: sensors.perch.lastCountAt !== null,
    chute: feed.lastFellAt !== null || chute.total !== null || chute.countedSince > 0,
    scale: hopper.weighedAt !== null || scale.lastGrams !== null,
  };
  return (Object.keys(hasReported) as readonly (keyof typeof hasReported)[]).flatMap((sensor) =>
    settings.sensors[sensor] && !hasReported[sensor] ? [texts.sensors[sensor]] : [],
  );
}

export const titlesOf = (kinds: readonly FaultKind[]): string => {
  const named = kinds.slice(0, 2).map((kind) => ruleOf(kind).title);
  const more = kinds.length - named.length;
  return texts.lists.andMore(named.join(", "), more);
};
