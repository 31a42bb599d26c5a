import type { Alarm } from "./alarms/alarm.ts";
import { type FaultKind, faultKinds, ruleOf } from "./faults.ts";
import type { FeederState } from "./feeder.ts";
import { foodOutlook } from "./foodOutlook.ts";
import { assumedFoodSettings } from "./hopper/foodText.ts";
import { after, days, earlier, type Instant, later, minutes, type Span } from "./instant.ts";
import { displayedStatus, isPaused, pauseStatus } from "./orders/pauseStatus.ts";
import { silenceBeginsAt } from "./silence/feederSilence.ts";

/**
 * What must be known of a feeder before any sentence calls it well: each line says what is known where it holds. In the order
 * in which a keeper needs to hear of what is missing. Whatever is not known, or known to be bad, breaks a line.
 */
const allClearConditions = {
  /** It feeds birds: of one on the bench or put away nobody is told. */
  inGarden: ({ settings }) => (settings.placement ?? "inGarden") === "inGarden",
  /** It has said how it stands itself, and not only what an earlier start left behind. */
  hasReported: ({ reporting, latestReadings }) => reporting.kind === "reporting" && latestReadings !== null,
  isHeardOfLate: (state, now) => now < reportsValidUntil(state),
  notPaused: ({ orders }, now) => !isPaused(orders, now),
  /** What was asked last is done, or its time is over. A feeder that was told to pause is paused, or does otherwise. */
  doesAsAsked: ({ orders }, now) => {
    if (orders.newest === null) return true;
    const phase = displayedStatus(orders, orders.newest, now);
    return phase === "ended" || (phase === "confirmed" && orders.newest.kind === "resume");
  },
  /** By its own word or by food that it gave. One that never speaks of it feeds unless a pause was the last that was asked. */
  isFeeding: ({ orders }, now) => {
    const { kind } = pauseStatus(orders, now);
    return kind === "feeding" || (kind === "unknown" && orders.newest?.kind !== "pause");
  },
  /** No fault is there, none is put aside or hidden by another, and none left harm that somebody must look at. */
  nothingStands: ({ alarms }) => faultKinds.every((kind) => isOver(alarms[kind])),
  /** Each sensor that is said to be fitted has spoken once at least. */
  sensorsSpoke: (state) => unusableSensors(state).length === 0,
  levelIsKnown: ({ hopper }) => hopper.isKnown && hopper.emptySince === null,
  /** For longer than a day, by what these birds eat and by weights that somebody said or a scale measured. */
  lastsADay: (state, now) => foodLastsUntil(state, now) !== null,
} as const satisfies Record<string, (state: FeederState, now: Instant) => boolean>;

export type AllClearCondition = keyof typeof allClearConditions;

/** The first thing that keeps a feeder from being called well; null: it is known to be well. */
export function allClearObstacle(state: FeederState, now: Instant): AllClearCondition | null {
  const names = Object.keys(allClearConditions) as readonly AllClearCondition[];
  return names.find((name) => !allClearConditions[name](state, now)) ?? null;
}

/** Until when it may be called well if nothing more is heard of it; null where it may not be now. */
export function allClearUntil(state: FeederState, now: Instant): Instant | null {
  const lasts = allClearObstacle(state, now) === null ? foodLastsUntil(state, now) : null;
  return lasts === null ? null : earlier(reportsValidUntil(state), lasts);
}

/** Longer than this after its last report nobody knows how a feeder is, whatever its line is used to. Our choice. */
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

/** Gone, and only not seen by anybody yet: that is no fault any more. */
const isOver = (alarm: Alarm | undefined): boolean =>
  alarm === undefined || (alarm.state === "returnedUnacknowledged" && alarm.presentSince === null);

/** Alarms that keep it from being well and call nobody: put aside, hidden, or too young to be told. */
export const openFaults = ({ alarms }: FeederState): readonly FaultKind[] =>
  faultKinds.filter((kind) => !isOver(alarms[kind]));

/** Fitted sensors that have never spoken, in words: "button", "metal detector". */
export function unusableSensors({ settings, sensors, feed, hopper }: FeederState): readonly string[] {
  const { chute, scale } = sensors;
  const spoke = {
    button: sensors.button.lastCountAt !== null,
    detector: sensors.detector.lastCountAt !== null,
    perch: sensors.perch.lastCountAt !== null,
    chute: feed.lastFellAt !== null || chute.total !== null || chute.countedSince > 0,
    scale: hopper.weighedAt !== null || scale.lastGrams !== null,
  };
  return (Object.keys(spoke) as readonly (keyof typeof spoke)[]).flatMap((sensor) =>
    settings.sensors[sensor] && !spoke[sensor] ? [sensorNames[sensor]] : [],
  );
}

const sensorNames = {
  button: "button",
  detector: "metal detector",
  perch: "perch",
  chute: "chute sensor",
  scale: "scale",
} as const;

export const titlesOf = (kinds: readonly FaultKind[]): string => {
  const named = kinds.slice(0, 2).map((kind) => ruleOf(kind).title);
  const more = kinds.length - named.length;
  return `${named.join(", ")}${more > 0 ? ` and ${more} more` : ""}`;
};
