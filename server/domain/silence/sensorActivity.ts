import { type Instant, later, type Span } from "../instant.ts";
import type { FeederEvent, Portion, Report } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import {
  type ChatterState,
  initialChatter,
  isPossiblyChattering,
  updateChatterByCount,
  updateChatterByGrowth,
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
 * What is remembered to tell a dead sensor from birds that stay away. A sensor with companions is judged by what they saw
 * meanwhile (pairing.ts); one that stands alone, by the daylight that passed (daylightSilence.ts). When all are silent
 * together there are no birds, and nothing is claimed.
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
  readonly totalsAt: Instant; // when they were last told
  readonly isPaused: boolean; // as the feeder last said: what birds do at a paused feeder is no measure
}

export type BirdSensor = "button" | "detector" | "perch";
export const birdSensors = ["button", "detector", "perch"] as const;

export interface SensorActivity extends RunningTotal {
  readonly lastCountAt: Instant | null; // when it last spoke
  readonly lastMarkAt: Instant | null; // when it last counted as a mark for its companions
  /** Null beside itself, but for the detector: there stands the beam in its own slot, which sees whatever drops in. */
  readonly pairings: { readonly [companion in BirdSensor]: Pairing | null };
  readonly silence: SilenceStatistics;
  readonly chatter: ChatterState;
}

/** The feeder's running total of one sensor, and what we heard of it in events since. */
export interface RunningTotal {
  readonly total: number | null;
  readonly countedSince: number;
  readonly decrease: { readonly from: number; readonly to: number; readonly at: Instant } | null;
}

export function initialSensors(now: Instant): SensorsState {
  const watched = (self: BirdSensor): SensorActivity => ({
    ...initialTotal,
    lastCountAt: null,
    lastMarkAt: null,
    pairings: {
      button: self === "button" ? null : initialPairing(now),
      detector: initialPairing(now),
      perch: self === "perch" ? null : initialPairing(now),
    },
    silence: initialSilenceStatistics(now),
    chatter: initialChatter(now),
  });
  return {
    button: watched("button"),
    detector: watched("detector"),
    perch: watched("perch"),
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

/** One event, in the order in which they were recorded. An event that tells of no sensor changes nothing. */
export function updateSensorsByEvent(
  sensors: SensorsState,
  event: FeederEvent,
  settings: FeederSettings,
): SensorsState {
  switch (event.kind) {
    case "press":
      return recordActivity(sensors, "button", event.recordedAt, settings);
    case "deposit":
      // "No metal" is the beam's word: the detector itself said nothing.
      return recordActivity(
        event.chute === true ? markSlot(sensors) : sensors,
        "detector",
        event.recordedAt,
        settings,
        {
          spoke: event.metal !== false,
        },
      );
    case "visit":
      return recordActivity(sensors, "perch", event.recordedAt, settings);
    case "portion": {
      const payer = inferredPayer(sensors, event);
      if (payer !== null) sensors = recordActivity(sensors, payer, event.recordedAt, settings, { events: 0 });
      if (event.cutShort === true && event.chuteCount === null) return sensors; // nobody knows whether anything fell
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

/** A feeder that tells of its portions but not of the presses that they paid has told of the presses by that. */
function inferredPayer(sensors: SensorsState, { cause, paysFor, recordedAt }: Portion & { recordedAt: Instant }) {
  if (paysFor !== null || (cause !== "press" && cause !== "deposit")) return null;
  const payer = cause === "press" ? "button" : "detector";
  const { lastCountAt } = sensors[payer];
  return lastCountAt === null || recordedAt - lastCountAt > paidWithin ? payer : null;
}

/** A portion that comes this soon after a press or deposit that was told is what pays it. */
const paidWithin = 60_000;

/**
 * The readings of one report, after its events. Growth of a total that no event explained is activity too.
 * @param setAside readings that no such sensor can mean, by their posted names.
 */
export function updateSensorsByReport(
  sensors: SensorsState,
  { readings, rejectedReadings, boot }: Pick<Report, "readings" | "rejectedReadings" | "boot">,
  at: Instant,
  settings: FeederSettings,
): SensorsState {
  const sameBoot = sensors.boot === boot;
  const resumedAt = sensors.isPaused && readings.paused === false ? at : null;
  const since = Math.max(0, at - sensors.totalsAt) as Span;
  const { counts } = readings;
  let next: SensorsState = {
    button: updateSensorTotal(sensors.button, counts.button, sameBoot, at, resumedAt),
    detector: updateSensorTotal(sensors.detector, counts.detector, sameBoot, at, resumedAt),
    perch: updateSensorTotal(sensors.perch, counts.perch, sameBoot, at, resumedAt),
    chute: updateTotal(sensors.chute, counts.chute, sameBoot, at),
    scale: updateScaleActivity(sensors.scale, readings, at),
    constantReadings: updateConstantReadings(sensors.constantReadings, readings, at),
    rejectedReadings: updateRejectedReadings(sensors.rejectedReadings, rejectedReadings, at),
    boot,
    totalsAt: at,
    isPaused: readings.paused ?? sensors.isPaused,
  };
  for (const sensor of birdSensors) {
    const by = totalGrowth(sensors[sensor], counts[sensor], sameBoot);
    if (by > 0) next = recordActivity(next, sensor, at, settings, { grown: { by, within: since } });
  }
  return next;
}

/**
 * A bird that hammers the button thirty times in ten seconds is one mark, not thirty. Shorter than the quickest coming
 * and going of two birds. Common practice, no source.
 */
const markGapMin = 5_000;

/**
 * `spoke`: the sensor itself did, and not only what stands beside it. `grown`: no event told of it, but its total grew.
 */
function recordActivity(
  sensors: SensorsState,
  sensor: BirdSensor,
  at: Instant,
  settings: FeederSettings,
  { spoke = true, events = 1, grown = null }: { spoke?: boolean; events?: number; grown?: TotalGrowth | null } = {},
): SensorsState {
  const self = sensors[sensor];
  const chatter = !spoke
    ? self.chatter
    : grown === null
      ? updateChatterByCount(self.chatter, at)
      : updateChatterByGrowth(self.chatter, grown.by, grown.within, at);
  // What a bouncing contact counts is no bird: nothing is learnt from it, of this sensor or by it of another.
  const isSense = !isPossiblyChattering(chatter);
  const isMark = isSense && !sensors.isPaused && isApart(self.lastMarkAt, at);
  const beside = self.pairings;
  const next: SensorActivity = {
    total: self.total,
    countedSince: self.countedSince + (spoke && grown === null ? events : 0),
    decrease: self.decrease,
    lastCountAt: !spoke ? self.lastCountAt : self.lastCountAt === null ? at : later(self.lastCountAt, at),
    lastMarkAt: isMark ? at : self.lastMarkAt,
    pairings: !spoke
      ? beside
      : isSense
        ? {
            button: beside.button && closeRun(beside.button, at, settings),
            detector: beside.detector && closeRun(beside.detector, at, settings),
            perch: beside.perch && closeRun(beside.perch, at, settings),
          }
        : {
            button: beside.button && forgetOpenMarks(beside.button),
            detector: beside.detector && forgetOpenMarks(beside.detector),
            perch: beside.perch && forgetOpenMarks(beside.perch),
          },
    silence: !spoke
      ? self.silence
      : isSense
        ? updateSilenceByBout(self.silence, settings.place, at)
        : endSilence(self.silence, at),
    chatter,
  };
  const other = (watched: SensorActivity) =>
    isMark
      ? markCompanion(watched, sensor, addMark)
      : isSense
        ? watched
        : markCompanion(watched, sensor, forgetOpenMarks);
  return withBirdSensors(
    sensors,
    sensor === "button" ? next : other(sensors.button),
    sensor === "detector" ? next : other(sensors.detector),
    sensor === "perch" ? next : other(sensors.perch),
  );
}

interface TotalGrowth {
  readonly by: number;
  readonly within: Span;
}

const isApart = (lastMarkAt: Instant | null, at: Instant): boolean =>
  lastMarkAt === null || Math.abs(at - lastMarkAt) >= markGapMin;

const markSlot = (sensors: SensorsState): SensorsState =>
  sensors.isPaused || isPossiblyChattering(sensors.detector.chatter)
    ? sensors
    : withBirdSensors(sensors, sensors.button, markCompanion(sensors.detector, "detector", addMark), sensors.perch);

/** A companion saw something that the watched may answer (`marked`), or is no witness now (`forgotten`). */
function markCompanion(
  watched: SensorActivity,
  companion: BirdSensor,
  change: (pairing: Pairing) => Pairing,
): SensorActivity {
  const { button, detector, perch } = watched.pairings;
  return {
    total: watched.total,
    countedSince: watched.countedSince,
    decrease: watched.decrease,
    lastCountAt: watched.lastCountAt,
    lastMarkAt: watched.lastMarkAt,
    pairings: {
      button: companion === "button" && button ? change(button) : button,
      detector: companion === "detector" && detector ? change(detector) : detector,
      perch: companion === "perch" && perch ? change(perch) : perch,
    },
    silence: watched.silence,
    chatter: watched.chatter,
  };
}

/** Takes a running total. Written out, not spread, as is all that runs for each report. */
function updateTotal(tally: RunningTotal, total: number | null, sameBoot: boolean, at: Instant): RunningTotal {
  const { countedSince, decrease } = tally;
  if (total === null) return { total: tally.total, countedSince, decrease };
  const before = sameBoot ? tally.total : null;
  if (before === null) return { total, countedSince: 0, decrease };
  if (total < before) return { total, countedSince: 0, decrease: { from: before, to: total, at } };
  // Events may lag behind the total (a backlog that is still coming): what is ahead of them isn't counted twice.
  return { total, countedSince: Math.max(0, countedSince - (total - before)), decrease };
}

/** What the total grew by beyond the events that we heard; 0 on a new boot, which has no before. */
function totalGrowth(tally: RunningTotal, total: number | null, sameBoot: boolean): number {
  const before = sameBoot ? tally.total : null;
  return total === null || before === null ? 0 : Math.max(0, total - before - tally.countedSince);
}

/** `resumedAt`: the feeder goes on after a pause, in which nobody was waited for; null where it doesn't. */
function updateSensorTotal(
  watched: SensorActivity,
  total: number | null,
  sameBoot: boolean,
  at: Instant,
  resumedAt: Instant | null,
): SensorActivity {
  const tally = updateTotal(watched, total, sameBoot, at);
  return {
    total: tally.total,
    countedSince: tally.countedSince,
    decrease: tally.decrease,
    lastCountAt: watched.lastCountAt,
    lastMarkAt: watched.lastMarkAt,
    pairings: watched.pairings,
    silence: resumedAt === null ? watched.silence : { ...watched.silence, silentSince: resumedAt },
    chatter: watched.chatter,
  };
}
