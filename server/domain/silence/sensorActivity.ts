import { type Instant, later, type Span } from "../instant.ts";
import type { FeederEvent, Portion, Report } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import {
  type ChatterState,
  initialChatter,
  isPossiblyChattering,
  updateChatterByCount,
  updateChatterByGrowth,
  withoutDrained,
} from "./chatter.ts";
import { addMark, closeRun, forgetOpenMarks, initialPairing, type Pairing } from "./pairing.ts";
import { initialRejectedReadings, type RejectedReadings, updateRejectedReadings } from "./rejectedReadings.ts";
import {
  countFallenPortion,
  countGivenPortion,
  initialScaleActivity,
  type ScaleActivity,
  updateScaleActivity,
} from "./scaleSilence.ts";
import {
  endSilence,
  initialSilenceStatistics,
  type SilenceStatistics,
  updateSilenceByBout,
} from "./silenceStatistics.ts";
import { type ConstantReadings, initialConstantReadings, updateConstantReadings } from "./stuckReadings.ts";

/**
 * The state that distinguishes a dead sensor from birds that stay away. A sensor with companions is judged by what they saw
 * meanwhile (pairing.ts); one without, by the daylight that passed (silenceStatistics.ts). When all are silent together there
 * are no birds, and no fault is found.
 */
export interface SensorsState {
  readonly button: SensorActivity;
  readonly detector: SensorActivity;
  readonly perch: SensorActivity;
  readonly chute: RunningTotal;
  readonly scale: ScaleActivity;
  readonly constantReadings: ConstantReadings;
  readonly rejectedReadings: RejectedReadings;
  readonly boot: string | null; // the boot that the running totals belong to
  readonly totalsAt: Instant; // when they were last reported
  readonly isPaused: boolean; // as last reported: what birds do at a paused feeder is no measure
}

export type BirdSensor = "button" | "detector" | "perch";
export const birdSensors = ["button", "detector", "perch"] as const;

export interface SensorActivity extends RunningTotal {
  readonly lastCountAt: Instant | null; // when it last counted
  readonly lastMarkAt: Instant | null; // when it last counted as a mark for its companions
  /** Null beside itself, except for the detector: the beam in its own slot sees whatever drops in. */
  readonly pairings: { readonly [companion in BirdSensor]: Pairing | null };
  readonly silence: SilenceStatistics;
  readonly chatter: ChatterState | null; // null between counts, while it counts as birds do
}

/** The feeder's running total of one sensor, and the events received since. */
export interface RunningTotal {
  readonly total: number | null;
  readonly countedSince: number;
  readonly decrease: { readonly from: number; readonly to: number; readonly at: Instant } | null;
}

export function initialSensors(now: Instant): SensorsState {
  const activity = (self: BirdSensor): SensorActivity => ({
    ...initialTotal,
    lastCountAt: null,
    lastMarkAt: null,
    pairings: {
      button: self === "button" ? null : initialPairing(now),
      detector: initialPairing(now),
      perch: self === "perch" ? null : initialPairing(now),
    },
    silence: initialSilenceStatistics(now),
    chatter: null,
  });
  return {
    button: activity("button"),
    detector: activity("detector"),
    perch: activity("perch"),
    chute: initialTotal,
    scale: initialScaleActivity(),
    constantReadings: initialConstantReadings,
    rejectedReadings: initialRejectedReadings,
    boot: null,
    totalsAt: now,
    isPaused: false,
  };
}

const initialTotal: RunningTotal = { total: null, countedSince: 0, decrease: null };

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
        event.chute === true ? markSlot(sensors) : sensors,
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

// Written out, not spread, as is all that runs for every event, of which a report may hold thousands.
const withChuteAndScale = (sensors: SensorsState, chute: RunningTotal, scale: ScaleActivity): SensorsState => ({
  button: sensors.button,
  detector: sensors.detector,
  perch: sensors.perch,
  chute,
  scale,
  constantReadings: sensors.constantReadings,
  rejectedReadings: sensors.rejectedReadings,
  boot: sensors.boot,
  totalsAt: sensors.totalsAt,
  isPaused: sensors.isPaused,
});

const withBirdSensors = (
  sensors: SensorsState,
  button: SensorActivity,
  detector: SensorActivity,
  perch: SensorActivity,
): SensorsState => ({
  button,
  detector,
  perch,
  chute: sensors.chute,
  scale: sensors.scale,
  constantReadings: sensors.constantReadings,
  rejectedReadings: sensors.rejectedReadings,
  boot: sensors.boot,
  totalsAt: sensors.totalsAt,
  isPaused: sensors.isPaused,
});

/** A feeder that reports portions but not the presses that they pay has reported the presses by that. */
function inferredPayer(sensors: SensorsState, { cause, paysFor, recordedAt }: Portion & { recordedAt: Instant }) {
  if (paysFor !== null || (cause !== "press" && cause !== "deposit")) return null;
  const payingSensor = cause === "press" ? "button" : "detector";
  const { lastCountAt } = sensors[payingSensor];
  return lastCountAt === null || recordedAt - lastCountAt > paymentDelayMax ? payingSensor : null;
}

/** A portion that comes this soon after a reported press or deposit is what pays it. */
const paymentDelayMax = 60_000;

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

/**
 * A bird that hammers the button thirty times in ten seconds is one mark, not thirty. Shorter than the quickest coming
 * and going of two birds. Common practice, no source.
 */
const markGapMin = 5_000;

/** What a sensor did: `isOwnSignal` is false where only the beam beside the detector saw something. */
interface Activity {
  readonly isOwnSignal: boolean;
  readonly events: number;
  readonly growth: TotalGrowth | null; // the total grew without an event
}

const oneEvent: Activity = { isOwnSignal: true, events: 1, growth: null };

function recordActivity(
  sensors: SensorsState,
  sensor: BirdSensor,
  at: Instant,
  settings: FeederSettings,
  { isOwnSignal, events, growth }: Activity = oneEvent,
): SensorsState {
  const before = sensors[sensor];
  const chatter = isOwnSignal ? updateChatter(before, growth, at) : before.chatter;
  // A bouncing contact counts no birds: nothing is learnt from it, of this sensor or of its companions.
  const isCredible = !isPossiblyChattering(chatter);
  const isMark = isCredible && !sensors.isPaused && isApart(before.lastMarkAt, at);
  const lastMarkAt = isMark ? at : before.lastMarkAt;
  const updated = isOwnSignal
    ? recordOwnSignal(before, { events: growth === null ? events : 0, chatter, lastMarkAt }, at, settings)
    : { ...before, lastMarkAt };
  const companion = (activity: SensorActivity) =>
    isMark || !isCredible ? markCompanion(activity, sensor, isMark ? addMark : forgetOpenMarks) : activity;
  return withBirdSensors(
    sensors,
    sensor === "button" ? updated : companion(sensors.button),
    sensor === "detector" ? updated : companion(sensors.detector),
    sensor === "perch" ? updated : companion(sensors.perch),
  );
}

function updateChatter(
  { chatter, lastCountAt }: SensorActivity,
  growth: TotalGrowth | null,
  at: Instant,
): ChatterState {
  const known = chatter ?? initialChatter(lastCountAt ?? at);
  return growth === null
    ? updateChatterByCount(known, at)
    : updateChatterByGrowth(known, growth.counts, growth.span, at);
}

interface OwnSignal {
  readonly events: number;
  readonly chatter: ChatterState | null;
  readonly lastMarkAt: Instant | null;
}

function recordOwnSignal(
  activity: SensorActivity,
  { events, chatter, lastMarkAt }: OwnSignal,
  at: Instant,
  settings: FeederSettings,
): SensorActivity {
  const isCredible = !isPossiblyChattering(chatter);
  const close = (pairing: Pairing | null) =>
    pairing && (isCredible ? closeRun(pairing, at, settings) : forgetOpenMarks(pairing));
  const { button, detector, perch } = activity.pairings;
  return {
    total: activity.total,
    countedSince: activity.countedSince + events,
    decrease: activity.decrease,
    lastCountAt: activity.lastCountAt === null ? at : later(activity.lastCountAt, at),
    lastMarkAt,
    pairings: { button: close(button), detector: close(detector), perch: close(perch) },
    silence: isCredible ? updateSilenceByBout(activity.silence, settings.place, at) : endSilence(activity.silence, at),
    chatter,
  };
}

interface TotalGrowth {
  readonly counts: number;
  readonly span: Span;
}

const isApart = (lastMarkAt: Instant | null, at: Instant): boolean =>
  lastMarkAt === null || Math.abs(at - lastMarkAt) >= markGapMin;

const markSlot = (sensors: SensorsState): SensorsState =>
  sensors.isPaused || isPossiblyChattering(sensors.detector.chatter)
    ? sensors
    : withBirdSensors(sensors, sensors.button, markCompanion(sensors.detector, "detector", addMark), sensors.perch);

/** A companion saw something that this sensor may react to (`addMark`), or isn't credible now (`forgetOpenMarks`). */
function markCompanion(
  activity: SensorActivity,
  companion: BirdSensor,
  change: (pairing: Pairing) => Pairing,
): SensorActivity {
  const { button, detector, perch } = activity.pairings;
  return {
    total: activity.total,
    countedSince: activity.countedSince,
    decrease: activity.decrease,
    lastCountAt: activity.lastCountAt,
    lastMarkAt: activity.lastMarkAt,
    pairings: {
      button: companion === "button" && button ? change(button) : button,
      detector: companion === "detector" && detector ? change(detector) : detector,
      perch: companion === "perch" && perch ? change(perch) : perch,
    },
    silence: activity.silence,
    chatter: activity.chatter,
  };
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
  };
}
