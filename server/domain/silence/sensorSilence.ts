import type { FeederEvent, Readings } from "../facts.ts";
import type { Evidence, Fault } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import { between, type Instant, isoOf, later } from "../instant.ts";
import { probability } from "../units.ts";
import { type Bide, bideTooLong, logBide, spoke, unbided } from "./daylightSilence.ts";
import { answered, isLearnt, logSilence, marked, type Pairing, tooLong, unpaired } from "./pairing.ts";
import { portionFell, type ScaleWatch, scaleRead, scaleSilence, unreadScale } from "./scaleSilence.ts";
import { inWords } from "./spanWords.ts";

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
const witnesses = ["button", "detector", "perch"] as const;

interface Watched extends Tally {
  readonly lastAt: Instant | null; // when it last spoke
  readonly lastMarkAt: Instant | null; // when it last counted as a mark for its companions
  readonly beside: { readonly [companion in Witness]: Pairing | null }; // null beside itself
  readonly alone: Bide;
}

/** The feeder's running total of one sensor, and what we heard of it in events since. */
interface Tally {
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
      detector: self === "detector" ? null : unpaired(now),
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
      return active(sensors, "detector", event.recordedAt, settings);
    case "visit":
      return active(sensors, "perch", event.recordedAt, settings);
    case "portion": {
      if (event.chuteCount === null || event.chuteCount <= 0) return sensors;
      const { chute } = sensors;
      return {
        ...sensors,
        chute: { ...chute, heardSince: chute.heardSince + event.chuteCount },
        scale: portionFell(sensors.scale),
      };
    }
    default:
      return sensors;
  }
}

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
    if (grown > 0) next = active(next, sensor, at, settings, 0);
  }
  return next;
}

/** What is silent now though it shouldn't be. `paused`: what birds do at a paused feeder proves nothing. */
export function sensorFaults(sensors: SensorsState, settings: FeederSettings, now: Instant, paused: boolean): Fault[] {
  if (paused) return [];
  const faults: Fault[] = [];
  for (const sensor of witnesses) {
    if (!settings.sensors[sensor]) continue;
    const fault = silentBesideOthers(sensors, sensor, settings, now) ?? silentAlone(sensors, sensor, settings, now);
    if (fault) faults.push(fault);
  }
  const scale = settings.sensors.scale ? scaleSilence(sensors.scale) : null;
  if (scale) faults.push(scale);
  return faults;
}

const faultOf = { button: "buttonSilent", detector: "detectorSilent", perch: "perchSilent" } as const;
const nameOf = { button: "button", detector: "detector", perch: "perch sensor" } as const;
const markOf = { button: "presses", detector: "deposits", perch: "landings" } as const;

function silentBesideOthers(
  sensors: SensorsState,
  sensor: Witness,
  settings: FeederSettings,
  now: Instant,
): Fault | null {
  const watched = sensors[sensor];
  let found: { companion: Witness; pairing: Pairing; logChance: number } | null = null;
  for (const companion of witnesses) {
    const pairing = watched.beside[companion];
    if (pairing === null || !settings.sensors[companion] || !tooLong(pairing, now)) continue;
    const logChance = logSilence(pairing);
    if (found === null || logChance < found.logChance) found = { companion, pairing, logChance };
  }
  if (found === null) return null;
  const { pairing, companion } = found;
  const chance = Math.exp(found.logChance);
  const share = pairing.hits / (pairing.hits + pairing.misses);
  return {
    kind: faultOf[sensor],
    reason:
      `The ${nameOf[sensor]} has said nothing during the last ${pairing.open} ${markOf[companion]}` +
      `${since(watched.lastAt, now)}. It used to answer ${inTen(share)}.`,
    evidence: [
      ...lastSpoke(watched),
      { what: `${markOf[companion]} since`, value: String(pairing.open), at: null },
      { what: "share answered before", value: `${Math.round(100 * share)} %`, at: null },
      { what: "chance of such a run if it works", value: chance.toExponential(0), at: now },
      ...ranBackwards(watched),
    ],
    sure: probability(1 - chance),
  };
}

/** Only for a sensor that no companion could speak for: beside others, "all silent" means that no bird came. */
function silentAlone(sensors: SensorsState, sensor: Witness, settings: FeederSettings, now: Instant): Fault | null {
  const watched = sensors[sensor];
  for (const companion of witnesses) {
    const pairing = watched.beside[companion];
    if (pairing !== null && settings.sensors[companion] && isLearnt(pairing)) return null;
  }
  if (!bideTooLong(watched.alone, settings.place, now)) return null;
  const chance = Math.exp(logBide(watched.alone, settings.place, now));
  return {
    kind: faultOf[sensor],
    reason:
      `The ${nameOf[sensor]} has said nothing${since(watched.lastAt, now)}, far longer than it ever does in daylight. ` +
      "No other sensor can tell whether birds came.",
    evidence: [
      ...lastSpoke(watched),
      { what: "chance of such a silence if it works", value: chance.toExponential(0), at: now },
      ...ranBackwards(watched),
    ],
    sure: probability(1 - chance),
  };
}

const since = (lastAt: Instant | null, now: Instant) =>
  lastAt === null ? "" : ` (in ${inWords(between(lastAt, later(lastAt, now)))})`;

const lastSpoke = ({ lastAt }: Watched): Evidence[] =>
  lastAt === null ? [] : [{ what: "last spoke", value: isoOf(lastAt), at: lastAt }];

const ranBackwards = ({ backwards }: Tally): Evidence[] =>
  backwards === null
    ? []
    : [{ what: "its total ran backwards", value: `${backwards.from} to ${backwards.to}`, at: backwards.at }];

function inTen(share: number): string {
  const tenths = Math.round(10 * share);
  if (tenths >= 10) return "nearly every one";
  return tenths >= 1 ? `about ${tenths} in 10` : `about ${Math.max(1, Math.round(100 * share))} in 100`;
}

/**
 * A bird that hammers the button thirty times in ten seconds is one mark, not thirty. Shorter than the quickest coming
 * and going of two birds. Common practice, no source.
 */
const markGapMin = 5_000;

function active(
  sensors: SensorsState,
  sensor: Witness,
  at: Instant,
  settings: FeederSettings,
  events = 1,
): SensorsState {
  const self = sensors[sensor];
  const isMark = !sensors.paused && (self.lastMarkAt === null || Math.abs(at - self.lastMarkAt) >= markGapMin);
  // Written out, not spread: this runs for every event, of which a report may hold thousands.
  const spoken: Watched = {
    total: self.total,
    heardSince: self.heardSince + events,
    backwards: self.backwards,
    lastAt: self.lastAt === null ? at : later(self.lastAt, at),
    lastMarkAt: isMark ? at : self.lastMarkAt,
    beside: {
      button: self.beside.button && answered(self.beside.button, at),
      detector: self.beside.detector && answered(self.beside.detector, at),
      perch: self.beside.perch && answered(self.beside.perch, at),
    },
    alone: spoke(self.alone, settings.place, at),
  };
  const other = (watched: Watched) => (isMark ? besideMark(watched, sensor) : watched);
  return {
    button: sensor === "button" ? spoken : other(sensors.button),
    detector: sensor === "detector" ? spoken : other(sensors.detector),
    perch: sensor === "perch" ? spoken : other(sensors.perch),
    chute: sensors.chute,
    scale: sensors.scale,
    boot: sensors.boot,
    paused: sensors.paused,
  };
}

/** A companion saw something that the watched may answer. */
function besideMark(watched: Watched, companion: Witness): Watched {
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
