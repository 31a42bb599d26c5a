import { between, earlier, type Instant, later, minutes, type Span } from "../instant.ts";
import type { FeederSettings, Place } from "../settings.ts";
import { civilDayAround } from "../sun.ts";
import {
  type ChatterState,
  initialChatter,
  isPossiblyChattering,
  updateChatterByCount,
  updateChatterByGrowth,
} from "./chatter.ts";
import { type HastyBursts, isHastyBurst, isPossiblyHasty, updateHastyBursts } from "./hastyBursts.ts";
import { addMark, closeRun, forgetOpenMarks, type Pairing, pairContext, takeBackMarks } from "./pairing.ts";
import {
  type BirdSensor,
  birdSensors,
  type SensorActivity,
  type SensorsState,
  withBirdSensors,
} from "./sensorsState.ts";
import { endSilence, updateSilenceByBout } from "./silenceStatistics.ts";

/** Counts of a sensor that birds can't have made, the latest of them; they prove neither birds nor that a companion is silent. */
export type Doubt = "none" | "burst" | "chatter";

/** `burst`: this burst alone; `chatter`: all that it counts now. */
const doubtOf = ({ chatter, hasty }: Counting, at: Instant): Doubt => doubt(chatter, hasty, at);

/** Since when no bird can have made what the sensor counts at this moment; null: birds may have. */
export const doubtfulSince = (activity: SensorActivity, at: Instant): Instant | null =>
  doubtOf(activity, at) === "none" ? null : earlier(activity.chatter?.zeroAt ?? at, at);

const doubt = (chatter: ChatterState | null, hasty: HastyBursts | null, at: Instant): Doubt =>
  isPossiblyChattering(chatter) || isPossiblyHasty(hasty, at)
    ? "chatter"
    : isHastyBurst(hasty, at) || (chatter !== null && chatter.excess > burstExcess)
      ? "burst"
      : "none";

/** Several birds in a row, or one that is given nothing, come to three; the more that come together, the less each of them proves. */
const excessOfMark = 3;
/** Twice as many. Common practice, no source. */
const burstExcess = 6;

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

export const oneEvent: Activity = { isOwnSignal: true, events: 1, growth: null };

export function recordActivity(
  sensors: SensorsState,
  sensor: BirdSensor,
  at: Instant,
  settings: FeederSettings,
  { isOwnSignal, events, growth }: Activity = oneEvent,
): SensorsState {
  const before = sensors[sensor];
  const counted = isOwnSignal ? updateCounting(sensors, sensor, growth, at, settings) : before;
  const found = doubtOf(counted, at);
  const isMark = found === "none" && !sensors.isPaused && isMarkOf(before, counted.chatter, at);
  const change = markChange(found, isMark, counted.chatter?.marks ?? 0);
  const chatter = change === null ? counted.chatter : withMarks(counted.chatter, isMark);
  const lastMarkAt = isMark ? at : before.lastMarkAt;
  const signal = { sensor, events: growth === null ? events : 0, chatter, hasty: counted.hasty, lastMarkAt };
  const updated = isOwnSignal ? recordOwnSignal(before, signal, at, settings) : { ...before, chatter, lastMarkAt };
  return withCompanions(sensors, sensor, updated, change);
}

type Counting = Pick<SensorActivity, "chatter" | "hasty">;

/** Growth of a total has no times, and so shows no bursts. */
function updateCounting(
  sensors: SensorsState,
  sensor: BirdSensor,
  growth: TotalGrowth | null,
  at: Instant,
  settings: FeederSettings,
): Counting {
  const before = sensors[sensor];
  const chatter = updateChatter(before, growth, at);
  if (growth !== null) return { chatter, hasty: before.hasty };
  return { chatter, hasty: updateHastyBursts(before.hasty, timedCount(sensors, sensor, chatter, at, settings)) };
}

const isMarkOf = ({ lastMarkAt }: SensorActivity, chatter: ChatterState | null, at: Instant): boolean =>
  isApart(lastMarkAt, at) && (chatter === null || chatter.excess <= excessOfMark);

/** Written out, not spread: it runs for most events. */
const withMarks = (chatter: ChatterState | null, isMark: boolean): ChatterState | null =>
  chatter && {
    excess: chatter.excess,
    updatedAt: chatter.updatedAt,
    zeroAt: chatter.zeroAt,
    counts: chatter.counts,
    marks: isMark ? chatter.marks + 1 : 0,
    since: chatter.since,
  };

function withCompanions(
  sensors: SensorsState,
  sensor: BirdSensor,
  updated: SensorActivity,
  change: ((pairing: Pairing) => Pairing) | null,
): SensorsState {
  const companion = (other: BirdSensor) =>
    other === sensor ? updated : change === null ? sensors[other] : markCompanion(sensors[other], sensor, change);
  return withBirdSensors(sensors, companion("button"), companion("detector"), companion("perch"));
}

/** What a count means to the companions; null: nothing. A burst takes back what its first counts seemed to mean. */
function markChange(found: Doubt, isMark: boolean, marksOfBurst: number): ((pairing: Pairing) => Pairing) | null {
  if (isMark) return addMark;
  if (found === "chatter") return forgetOpenMarks;
  return found === "burst" && marksOfBurst > 0 ? (pairing) => takeBackMarks(pairing, marksOfBurst) : null;
}

const timedCount = (
  sensors: SensorsState,
  sensor: BirdSensor,
  chatter: ChatterState | null,
  at: Instant,
  settings: FeederSettings,
) => ({
  at,
  countBefore: sensors[sensor].lastCountAt,
  quickGap: quickGaps[sensor],
  isQuickInTheDark:
    sensor !== "perch" && chatter !== null && chatter.excess >= excessOfMark && isDark(settings.place, at),
  isAlone: birdSensors.every((other) => {
    const { lastCountAt } = sensors[other];
    return other === sensor || lastCountAt === null || Math.abs(at - lastCountAt) > accompaniedMax;
  }),
});

/**
 * Two counts closer than this are no bird's: a crow or a jay pecks three or four times a second, and of a flock several may
 * land almost at once. From memory, no source.
 */
const quickGaps: Readonly<Record<BirdSensor, Span>> = {
  button: 200 as Span,
  detector: 200 as Span,
  perch: 80 as Span,
};
const accompaniedMax = minutes(1);

/** Well before civil dawn or after dusk. Something that climbs about at night sits on a perch, and seldom presses a button thrice. */
function isDark(place: Place | null, at: Instant): boolean {
  if (place === null) return false;
  const { dawn, dusk } = civilDayAround(place, at);
  return between(at, dawn) > twilightMargin || between(dusk, at) > twilightMargin;
}
const twilightMargin = minutes(30);

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
  readonly sensor: BirdSensor;
  readonly events: number;
  readonly chatter: ChatterState | null;
  readonly hasty: HastyBursts | null;
  readonly lastMarkAt: Instant | null;
}

function recordOwnSignal(
  activity: SensorActivity,
  { sensor, events, chatter, hasty, lastMarkAt }: OwnSignal,
  at: Instant,
  settings: FeederSettings,
): SensorActivity {
  const isCredible = doubt(chatter, hasty, at) === "none";
  const close = (pairing: Pairing | null, companion: BirdSensor) =>
    pairing &&
    (isCredible ? closeRun(pairing, at, pairContext(settings, sensor, companion)) : forgetOpenMarks(pairing));
  const { button, detector, perch } = activity.pairings;
  return {
    total: activity.total,
    countedSince: activity.countedSince + events,
    decrease: activity.decrease,
    lastCountAt: activity.lastCountAt === null ? at : later(activity.lastCountAt, at),
    lastMarkAt,
    pairings: {
      button: close(button, "button"),
      detector: close(detector, "detector"),
      perch: close(perch, "perch"),
    },
    silence: isCredible ? updateSilenceByBout(activity.silence, settings.place, at) : endSilence(activity.silence, at),
    chatter,
    hasty,
  };
}

interface TotalGrowth {
  readonly counts: number;
  readonly span: Span;
}

const isApart = (lastMarkAt: Instant | null, at: Instant): boolean =>
  lastMarkAt === null || Math.abs(at - lastMarkAt) >= markGapMin;

export const markSlot = (sensors: SensorsState, at: Instant): SensorsState =>
  sensors.isPaused || doubtOf(sensors.detector, at) !== "none"
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
    hasty: activity.hasty,
  };
}
