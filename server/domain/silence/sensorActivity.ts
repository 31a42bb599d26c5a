import type { FeederEvent, Portion, Readings } from "../facts.ts";
import type { FeederSettings } from "../feeder.ts";
import { type Instant, later } from "../instant.ts";
import { type Bide, boutContinued, unbided } from "./daylightSilence.ts";
import { answered, marked, type Pairing, unpaired } from "./pairing.ts";
import { portionFell, type ScaleWatch, scaleRead, unreadScale } from "./scaleSilence.ts";

/**
 * What is remembered to tell a dead sensor from birds that stay away. A sensor with companions is judged by what they saw
 * meanwhile (pairing.ts); one that stands alone, by the daylight that passed (daylightSilence.ts). When all are silent
 * together there are no birds, and nothing is claimed.
 */
export interface SensorsState {
  readonly button: Watched;
  readonly detector: Watched;
  readonly perch: Watched;
  readonly chute: Tally;
  readonly scale: ScaleWatch;
  readonly boot: string | null; // the boot that the running totals belong to
  readonly paused: boolean; // as the feeder last said: what birds do at a paused feeder is no measure
}

export type Witness = "button" | "detector" | "perch";
export const witnesses = ["button", "detector", "perch"] as const;

export interface Watched extends Tally {
  readonly lastAt: Instant | null; // when it last spoke
  readonly lastMarkAt: Instant | null; // when it last counted as a mark for its companions
  /** Null beside itself, but for the detector: there stands the beam in its own slot, which sees whatever drops in. */
  readonly beside: { readonly [companion in Witness]: Pairing | null };
  readonly alone: Bide;
}

/** The feeder's running total of one sensor, and what we heard of it in events since. */
export interface Tally {
  readonly total: number | null;
  readonly heardSince: number;
  readonly backwards: { readonly from: number; readonly to: number; readonly at: Instant } | null;
}

export function unwatchedSensors(now: Instant): SensorsState {
  const watched = (self: Witness): Watched => ({
    ...untold,
    lastAt: null,
    lastMarkAt: null,
    beside: {
      button: self === "button" ? null : unpaired(now),
      detector: unpaired(now),
      perch: self === "perch" ? null : unpaired(now),
    },
    alone: unbided(now),
  });
  return {
    button: watched("button"),
    detector: watched("detector"),
    perch: watched("perch"),
    chute: untold,
    scale: unreadScale(),
    boot: null,
    paused: false,
  };
}

const untold: Tally = { total: null, heardSince: 0, backwards: null };

/** One event, in the order in which they were recorded. An event that tells of no sensor changes nothing. */
export function sensed(sensors: SensorsState, event: FeederEvent, settings: FeederSettings): SensorsState {
  switch (event.kind) {
    case "press":
      return active(sensors, "button", event.recordedAt, settings);
    case "deposit":
      // "No metal" is the beam's word: the detector itself said nothing.
      return active(event.chute === true ? slotMarked(sensors) : sensors, "detector", event.recordedAt, settings, {
        spoke: event.metal !== false,
      });
    case "visit":
      return active(sensors, "perch", event.recordedAt, settings);
    case "portion": {
      const payer = unsaidPayer(sensors, event);
      if (payer !== null) sensors = active(sensors, payer, event.recordedAt, settings, { events: 0 });
      if (event.chuteCount === null || event.chuteCount <= 0) return sensors;
      const { total, heardSince, backwards } = sensors.chute;
      // Written out, not spread, as is all that runs for every event, of which a report may hold thousands.
      return {
        button: sensors.button,
        detector: sensors.detector,
        perch: sensors.perch,
        chute: { total, heardSince: heardSince + event.chuteCount, backwards },
        scale: portionFell(sensors.scale),
        boot: sensors.boot,
        paused: sensors.paused,
      };
    }
    default:
      return sensors;
  }
}

/** A feeder that tells of its portions but not of the presses that they paid has told of the presses by that. */
function unsaidPayer(sensors: SensorsState, { cause, paysFor, recordedAt }: Portion & { recordedAt: Instant }) {
  if (paysFor !== null || (cause !== "press" && cause !== "deposit")) return null;
  const payer = cause === "press" ? "button" : "detector";
  const { lastAt } = sensors[payer];
  return lastAt === null || recordedAt - lastAt > paidWithin ? payer : null;
}

/** A portion that comes this soon after a press or deposit that was told is what pays it. */
const paidWithin = 60_000;

/** The readings of one report, after its events. Growth of a total that no event explained is activity too. */
export function counted(
  sensors: SensorsState,
  readings: Readings,
  boot: string,
  at: Instant,
  settings: FeederSettings,
): SensorsState {
  const sameBoot = sensors.boot === boot;
  const resumed = sensors.paused && readings.paused === false;
  let next: SensorsState = {
    ...sensors,
    boot,
    paused: readings.paused ?? sensors.paused,
    chute: told(sensors.chute, readings.counts.chute, sameBoot, at).tally,
    scale: scaleRead(sensors.scale, readings, at),
  };
  for (const sensor of witnesses) {
    const { tally, grown } = told(next[sensor], readings.counts[sensor], sameBoot, at);
    const alone = resumed ? { ...next[sensor].alone, from: at } : next[sensor].alone;
    next = { ...next, [sensor]: { ...next[sensor], ...tally, alone } };
    if (grown > 0) next = active(next, sensor, at, settings, { events: 0 });
  }
  return next;
}

/**
 * A bird that hammers the button thirty times in ten seconds is one mark, not thirty. Shorter than the quickest coming
 * and going of two birds. Common practice, no source.
 */
const markGapMin = 5_000;

/** `spoke`: the sensor itself did, and not only what stands beside it. `events`: how many events told of it. */
function active(
  sensors: SensorsState,
  sensor: Witness,
  at: Instant,
  settings: FeederSettings,
  { spoke = true, events = 1 }: { spoke?: boolean; events?: number } = {},
): SensorsState {
  const self = sensors[sensor];
  const isMark = !sensors.paused && (self.lastMarkAt === null || Math.abs(at - self.lastMarkAt) >= markGapMin);
  const beside = self.beside;
  const next: Watched = {
    total: self.total,
    heardSince: self.heardSince + (spoke ? events : 0),
    backwards: self.backwards,
    lastAt: !spoke ? self.lastAt : self.lastAt === null ? at : later(self.lastAt, at),
    lastMarkAt: isMark ? at : self.lastMarkAt,
    beside: spoke
      ? {
          button: beside.button && answered(beside.button, at, settings),
          detector: beside.detector && answered(beside.detector, at, settings),
          perch: beside.perch && answered(beside.perch, at, settings),
        }
      : beside,
    alone: spoke ? boutContinued(self.alone, settings.place, at) : self.alone,
  };
  const other = (watched: Watched) => (isMark ? markedBy(watched, sensor) : watched);
  return {
    button: sensor === "button" ? next : other(sensors.button),
    detector: sensor === "detector" ? next : other(sensors.detector),
    perch: sensor === "perch" ? next : other(sensors.perch),
    chute: sensors.chute,
    scale: sensors.scale,
    boot: sensors.boot,
    paused: sensors.paused,
  };
}

const slotMarked = (sensors: SensorsState): SensorsState =>
  sensors.paused
    ? sensors
    : {
        button: sensors.button,
        detector: markedBy(sensors.detector, "detector"),
        perch: sensors.perch,
        chute: sensors.chute,
        scale: sensors.scale,
        boot: sensors.boot,
        paused: sensors.paused,
      };

/** A companion saw something that the watched may answer. */
function markedBy(watched: Watched, companion: Witness): Watched {
  const { button, detector, perch } = watched.beside;
  return {
    total: watched.total,
    heardSince: watched.heardSince,
    backwards: watched.backwards,
    lastAt: watched.lastAt,
    lastMarkAt: watched.lastMarkAt,
    beside: {
      button: companion === "button" && button ? marked(button) : button,
      detector: companion === "detector" && detector ? marked(detector) : detector,
      perch: companion === "perch" && perch ? marked(perch) : perch,
    },
    alone: watched.alone,
  };
}

/** Takes a running total. `grown`: what it grew by beyond the events that we heard; 0 on a new boot, which has no before. */
function told(tally: Tally, total: number | null, sameBoot: boolean, at: Instant): { tally: Tally; grown: number } {
  if (total === null) return { tally: pick(tally), grown: 0 };
  const before = sameBoot ? tally.total : null;
  if (before === null) return { tally: { total, heardSince: 0, backwards: tally.backwards }, grown: 0 };
  if (total < before) return { tally: { total, heardSince: 0, backwards: { from: before, to: total, at } }, grown: 0 };
  const grown = Math.max(0, total - before - tally.heardSince);
  // Events may lag behind the total (a backlog that is still coming): what is ahead of them isn't counted twice.
  const heardSince = Math.max(0, tally.heardSince - (total - before));
  return { tally: { total, heardSince, backwards: tally.backwards }, grown };
}

const pick = ({ total, heardSince, backwards }: Tally): Tally => ({ total, heardSince, backwards });
