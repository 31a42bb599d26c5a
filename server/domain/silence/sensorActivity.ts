import { type Instant, later, type Span } from "../instant.ts";
import type { FeederEvent, Portion, Report } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Chatter, grew, isSuspect, quiet, struck } from "./chatter.ts";
import { type Bide, boutContinued, heardOnly, unbided } from "./daylightSilence.ts";
import { type HeldReadings, heldThrough, nothingHeld } from "./heldReadings.ts";
import { answered, forgotten, marked, type Pairing, unpaired } from "./pairing.ts";
import { portionFell, portionGiven, type ScaleWatch, scaleRead, unreadScale } from "./scaleSilence.ts";
import { noneSetAside, type SetAsides, withSetAside } from "./setAside.ts";

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
  readonly held: HeldReadings;
  readonly setAside: SetAsides;
  readonly boot: string | null; // the boot that the running totals belong to
  readonly countedAt: Instant; // when they were last told
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
  readonly chatter: Chatter;
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
    chatter: quiet(now),
  });
  return {
    button: watched("button"),
    detector: watched("detector"),
    perch: watched("perch"),
    chute: untold,
    scale: unreadScale(),
    held: nothingHeld,
    setAside: noneSetAside,
    boot: null,
    countedAt: now,
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
      if (event.cutShort === true && event.chuteCount === null) return sensors; // nobody knows whether anything fell
      if (event.chuteCount === null) return withStore(sensors, sensors.chute, portionGiven(sensors.scale));
      if (event.chuteCount <= 0) return sensors;
      const { total, heardSince, backwards } = sensors.chute;
      const chute = { total, heardSince: heardSince + event.chuteCount, backwards };
      return withStore(sensors, chute, portionFell(sensors.scale));
    }
    default:
      return sensors;
  }
}

// Written out, not spread, as is all that runs for every event, of which a report may hold thousands.
const withStore = (sensors: SensorsState, chute: Tally, scale: ScaleWatch): SensorsState => ({
  button: sensors.button,
  detector: sensors.detector,
  perch: sensors.perch,
  chute,
  scale,
  held: sensors.held,
  setAside: sensors.setAside,
  boot: sensors.boot,
  countedAt: sensors.countedAt,
  paused: sensors.paused,
});

const withWatched = (sensors: SensorsState, button: Watched, detector: Watched, perch: Watched): SensorsState => ({
  button,
  detector,
  perch,
  chute: sensors.chute,
  scale: sensors.scale,
  held: sensors.held,
  setAside: sensors.setAside,
  boot: sensors.boot,
  countedAt: sensors.countedAt,
  paused: sensors.paused,
});

/** A feeder that tells of its portions but not of the presses that they paid has told of the presses by that. */
function unsaidPayer(sensors: SensorsState, { cause, paysFor, recordedAt }: Portion & { recordedAt: Instant }) {
  if (paysFor !== null || (cause !== "press" && cause !== "deposit")) return null;
  const payer = cause === "press" ? "button" : "detector";
  const { lastAt } = sensors[payer];
  return lastAt === null || recordedAt - lastAt > paidWithin ? payer : null;
}

/** A portion that comes this soon after a press or deposit that was told is what pays it. */
const paidWithin = 60_000;

/**
 * The readings of one report, after its events. Growth of a total that no event explained is activity too.
 * @param setAside readings that no such sensor can mean, by their posted names.
 */
export function counted(
  sensors: SensorsState,
  { readings, setAside, boot }: Pick<Report, "readings" | "setAside" | "boot">,
  at: Instant,
  settings: FeederSettings,
): SensorsState {
  const sameBoot = sensors.boot === boot;
  const resumedAt = sensors.paused && readings.paused === false ? at : null;
  const since = Math.max(0, at - sensors.countedAt) as Span;
  const { counts } = readings;
  let next: SensorsState = {
    button: toldWatched(sensors.button, counts.button, sameBoot, at, resumedAt),
    detector: toldWatched(sensors.detector, counts.detector, sameBoot, at, resumedAt),
    perch: toldWatched(sensors.perch, counts.perch, sameBoot, at, resumedAt),
    chute: told(sensors.chute, counts.chute, sameBoot, at),
    scale: scaleRead(sensors.scale, readings, at),
    held: heldThrough(sensors.held, readings, at),
    setAside: withSetAside(sensors.setAside, setAside, at),
    boot,
    countedAt: at,
    paused: readings.paused ?? sensors.paused,
  };
  for (const sensor of witnesses) {
    const by = grownBy(sensors[sensor], counts[sensor], sameBoot);
    if (by > 0) next = active(next, sensor, at, settings, { grown: { by, within: since } });
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
function active(
  sensors: SensorsState,
  sensor: Witness,
  at: Instant,
  settings: FeederSettings,
  { spoke = true, events = 1, grown = null }: { spoke?: boolean; events?: number; grown?: Growth | null } = {},
): SensorsState {
  const self = sensors[sensor];
  const chatter = !spoke
    ? self.chatter
    : grown === null
      ? struck(self.chatter, at)
      : grew(self.chatter, grown.by, grown.within, at);
  // What a bouncing contact counts is no bird: nothing is learnt from it, of this sensor or by it of another.
  const isSense = !isSuspect(chatter);
  const isMark = isSense && !sensors.paused && isApart(self.lastMarkAt, at);
  const beside = self.beside;
  const next: Watched = {
    total: self.total,
    heardSince: self.heardSince + (spoke && grown === null ? events : 0),
    backwards: self.backwards,
    lastAt: !spoke ? self.lastAt : self.lastAt === null ? at : later(self.lastAt, at),
    lastMarkAt: isMark ? at : self.lastMarkAt,
    beside: !spoke
      ? beside
      : isSense
        ? {
            button: beside.button && answered(beside.button, at, settings),
            detector: beside.detector && answered(beside.detector, at, settings),
            perch: beside.perch && answered(beside.perch, at, settings),
          }
        : {
            button: beside.button && forgotten(beside.button),
            detector: beside.detector && forgotten(beside.detector),
            perch: beside.perch && forgotten(beside.perch),
          },
    alone: !spoke ? self.alone : isSense ? boutContinued(self.alone, settings.place, at) : heardOnly(self.alone, at),
    chatter,
  };
  const other = (watched: Watched) =>
    isMark ? markedBy(watched, sensor, marked) : isSense ? watched : markedBy(watched, sensor, forgotten);
  return withWatched(
    sensors,
    sensor === "button" ? next : other(sensors.button),
    sensor === "detector" ? next : other(sensors.detector),
    sensor === "perch" ? next : other(sensors.perch),
  );
}

interface Growth {
  readonly by: number;
  readonly within: Span;
}

const isApart = (lastMarkAt: Instant | null, at: Instant): boolean =>
  lastMarkAt === null || Math.abs(at - lastMarkAt) >= markGapMin;

const slotMarked = (sensors: SensorsState): SensorsState =>
  sensors.paused || isSuspect(sensors.detector.chatter)
    ? sensors
    : withWatched(sensors, sensors.button, markedBy(sensors.detector, "detector", marked), sensors.perch);

/** A companion saw something that the watched may answer (`marked`), or is no witness now (`forgotten`). */
function markedBy(watched: Watched, companion: Witness, change: (pairing: Pairing) => Pairing): Watched {
  const { button, detector, perch } = watched.beside;
  return {
    total: watched.total,
    heardSince: watched.heardSince,
    backwards: watched.backwards,
    lastAt: watched.lastAt,
    lastMarkAt: watched.lastMarkAt,
    beside: {
      button: companion === "button" && button ? change(button) : button,
      detector: companion === "detector" && detector ? change(detector) : detector,
      perch: companion === "perch" && perch ? change(perch) : perch,
    },
    alone: watched.alone,
    chatter: watched.chatter,
  };
}

/** Takes a running total. Written out, not spread, as is all that runs for each report. */
function told(tally: Tally, total: number | null, sameBoot: boolean, at: Instant): Tally {
  const { heardSince, backwards } = tally;
  if (total === null) return { total: tally.total, heardSince, backwards };
  const before = sameBoot ? tally.total : null;
  if (before === null) return { total, heardSince: 0, backwards };
  if (total < before) return { total, heardSince: 0, backwards: { from: before, to: total, at } };
  // Events may lag behind the total (a backlog that is still coming): what is ahead of them isn't counted twice.
  return { total, heardSince: Math.max(0, heardSince - (total - before)), backwards };
}

/** What the total grew by beyond the events that we heard; 0 on a new boot, which has no before. */
function grownBy(tally: Tally, total: number | null, sameBoot: boolean): number {
  const before = sameBoot ? tally.total : null;
  return total === null || before === null ? 0 : Math.max(0, total - before - tally.heardSince);
}

/** `resumedAt`: the feeder goes on after a pause, in which nobody was waited for; null where it doesn't. */
function toldWatched(
  watched: Watched,
  total: number | null,
  sameBoot: boolean,
  at: Instant,
  resumedAt: Instant | null,
): Watched {
  const tally = told(watched, total, sameBoot, at);
  return {
    total: tally.total,
    heardSince: tally.heardSince,
    backwards: tally.backwards,
    lastAt: watched.lastAt,
    lastMarkAt: watched.lastMarkAt,
    beside: watched.beside,
    alone: resumedAt === null ? watched.alone : { ...watched.alone, from: resumedAt },
    chatter: watched.chatter,
  };
}
