import type { Instant, Span } from "../instant.ts";
import type { FeederEvent, Portion, Report } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { withoutDrained } from "./chatter.ts";
import { withoutOldBursts } from "./hastyBursts.ts";
import { markSlot, oneEvent, recordActivity } from "./recordActivity.ts";
import { updateRejectedReadings } from "./rejectedReadings.ts";
import { countFallenPortion, countGivenPortion, updateScaleActivity } from "./scaleSilence.ts";
import {
  birdSensors,
  type RunningTotal,
  type SensorActivity,
  type SensorsState,
  withChuteAndScale,
} from "./sensorsState.ts";
import { updateConstantReadings } from "./stuckReadings.ts";

/** One event, in the order in which they were recorded. An event without a sensor changes nothing. */
export function updateSensorsByEvent(
  sensors: SensorsState,
  event: FeederEvent,
  settings: FeederSettings,
): SensorsState {
  switch (event.kind) {
    case "press":
      return recordActivity(sensors, "button", event.recordedAt, settings);
    case "deposit":
      // "No metal" comes from the beam: the detector itself gave no signal.
      return recordActivity(
        event.chute === true ? markSlot(sensors, event.recordedAt) : sensors,
        "detector",
        event.recordedAt,
        settings,
        { ...oneEvent, isOwnSignal: event.metal !== false },
      );
    case "visit":
      return recordActivity(sensors, "perch", event.recordedAt, settings);
    case "portion": {
      const payingSensor = inferredPayer(sensors, event);
      if (payingSensor !== null)
        sensors = recordActivity(sensors, payingSensor, event.recordedAt, settings, { ...oneEvent, events: 0 });
      if (event.cutShort === true && event.chuteCount === null) return sensors; // it is unknown whether anything fell
      if (event.chuteCount === null) return withChuteAndScale(sensors, sensors.chute, countGivenPortion(sensors.scale));
      if (event.chuteCount <= 0) return sensors;
      const { total, countedSince, decrease } = sensors.chute;
      const chute = { total, countedSince: countedSince + event.chuteCount, decrease };
      return withChuteAndScale(sensors, chute, countFallenPortion(sensors.scale));
    }
    default:
      return sensors;
  }
}

/** A feeder that reports portions but not the presses that they pay has reported the presses by that. */
function inferredPayer(sensors: SensorsState, { cause, paysFor, recordedAt }: Portion & { recordedAt: Instant }) {
  if (paysFor !== null || (cause !== "press" && cause !== "deposit")) return null;
  const payingSensor = cause === "press" ? "button" : "detector";
  const { lastCountAt } = sensors[payingSensor];
  return lastCountAt === null || recordedAt - lastCountAt > paymentDelayMax ? payingSensor : null;
}

/** A portion that comes this soon after a reported press or deposit is what pays it. */
const paymentDelayMax = 60_000;

/** The sensors' totals grew by these events, which no bird caused: nothing is learnt from them. */
export function countWithoutActivity(sensors: SensorsState, events: readonly FeederEvent[]): SensorsState {
  const counted = { ...sensors };
  for (const { kind } of events) {
    const sensor = kind === "press" ? "button" : kind === "deposit" ? "detector" : kind === "visit" ? "perch" : null;
    if (sensor !== null) counted[sensor] = { ...counted[sensor], countedSince: counted[sensor].countedSince + 1 };
  }
  return counted;
}

/**
 * The readings of one report, after its events. Growth of a total that no event explained is activity too.
 */
export function updateSensorsByReport(
  sensors: SensorsState,
  { readings, rejectedReadings, boot }: Pick<Report, "readings" | "rejectedReadings" | "boot">,
  at: Instant,
  settings: FeederSettings,
): SensorsState {
  const isSameBoot = sensors.boot === boot;
  const resumedAt = sensors.isPaused && readings.paused === false ? at : null;
  const elapsed = Math.max(0, at - sensors.totalsAt) as Span;
  const { counts } = readings;
  let updated: SensorsState = {
    button: updateSensorTotal(sensors.button, counts.button, isSameBoot, at, resumedAt),
    detector: updateSensorTotal(sensors.detector, counts.detector, isSameBoot, at, resumedAt),
    perch: updateSensorTotal(sensors.perch, counts.perch, isSameBoot, at, resumedAt),
    chute: updateTotal(sensors.chute, counts.chute, isSameBoot, at),
    scale: updateScaleActivity(sensors.scale, readings, at),
    constantReadings: updateConstantReadings(sensors.constantReadings, readings, at),
    rejectedReadings: updateRejectedReadings(sensors.rejectedReadings, rejectedReadings, at),
    boot,
    totalsAt: at,
    isPaused: readings.paused ?? sensors.isPaused,
  };
  for (const sensor of birdSensors) {
    const growth = totalGrowth(sensors[sensor], counts[sensor], isSameBoot);
    if (growth > 0)
      updated = recordActivity(updated, sensor, at, settings, {
        ...oneEvent,
        growth: { counts: growth, span: elapsed },
      });
  }
  return updated;
}

/** Written out, not spread, as is all that runs for each report. */
function updateTotal(counter: RunningTotal, total: number | null, isSameBoot: boolean, at: Instant): RunningTotal {
  const { countedSince, decrease } = counter;
  if (total === null) return { total: counter.total, countedSince, decrease };
  const before = isSameBoot ? counter.total : null;
  if (before === null) return { total, countedSince: 0, decrease };
  if (total < before) return { total, countedSince: 0, decrease: { from: before, to: total, at } };
  // Events may lag behind the total (a backlog that is still coming): what is ahead of them isn't counted twice.
  return { total, countedSince: Math.max(0, countedSince - (total - before)), decrease };
}

/** What the total grew by beyond the events received; 0 on a new boot, which has no total before. */
function totalGrowth(counter: RunningTotal, total: number | null, isSameBoot: boolean): number {
  const before = isSameBoot ? counter.total : null;
  return total === null || before === null ? 0 : Math.max(0, total - before - counter.countedSince);
}

/** `resumedAt`: the feeder resumes after a pause, in which no bird was expected; null where it doesn't. */
function updateSensorTotal(
  activity: SensorActivity,
  total: number | null,
  isSameBoot: boolean,
  at: Instant,
  resumedAt: Instant | null,
): SensorActivity {
  const counter = updateTotal(activity, total, isSameBoot, at);
  return {
    total: counter.total,
    countedSince: counter.countedSince,
    decrease: counter.decrease,
    lastCountAt: activity.lastCountAt,
    lastMarkAt: activity.lastMarkAt,
    pairings: activity.pairings,
    silence: resumedAt === null ? activity.silence : { ...activity.silence, silentSince: resumedAt },
    chatter: withoutDrained(activity.chatter, at),
    hasty: withoutOldBursts(activity.hasty, at),
  };
}
