import type { Fault } from "../faults.ts";
import type { HopperLevel } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import type { Deposit, Portion } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import type { Celsius, Grams } from "../units.ts";
import { causeFaults } from "./causes.ts";
import { type ChuteHabit, countLogs, learntCount } from "./chuteCounts.ts";
import type { FeedState } from "./feedState.ts";
import { alike, type Suspect, suspects } from "./looks.ts";
import {
  type CurrentForeseen,
  drew,
  foreseenCurrent,
  learntCurrent,
  logCurrent,
  type MotorHabit,
} from "./motorCurrent.ts";
import { likelyNames } from "./naming.ts";
import { alarmAbove, paced } from "./pace.ts";
import {
  answeredInPart,
  debtsForgiven,
  depositMade,
  paymentFaults,
  portionGiven,
  pressMade,
  reportRead,
} from "./payments.ts";
import { sunkByPortion, weighedBy } from "./scaleTrack.ts";
import {
  feedCleared,
  foremost,
  heldAnew,
  heldLevels,
  notHoarded,
  nothingSuspected,
  type SeenPortion,
  type Suspicions,
  weighPortion,
  weighReading,
} from "./suspicion.ts";
import { nameIn, weighedAnew } from "./verdict.ts";

/** Habits are learnt from portions by which nothing is suspected yet: less than one miss of the chute sensor's worth. */
const calmBelow = 3;
/** Evidence for the foremost fault is kept to so much above what the alarm took. */
const hoardMost = 6;

/** A portion was given. `level`: what was in the hopper then, `inside`: how warm it was, as far as known. */
export function watchPortion(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  level: HopperLevel | null,
  settings: FeederSettings,
  inside: Celsius | null = null,
): FeedState {
  // A run that was cut short proves neither a fault nor a payment; the scale has to be read anew after it.
  if (portion.cutShort === true) return portionCutShort(feed, portion, settings);
  const payments = portionGiven(feed.payments, portion, sawItFall(feed, portion, settings));
  const at = portion.recordedAt;
  if (feed.newestAt !== null && at < feed.newestAt) return { ...feed, payments };
  // A motor that wasn't run says nothing about the feed.
  if (portion.motorRan === 0) return { ...feed, payments };

  const count = settings.sensors.chute ? portion.chuteCount : null;
  const fell = count === null ? null : count > 0;
  const foreseen = portion.meanCurrent === null ? null : foreseenCurrent(feed.motor, at, inside);
  const drawn = portion.meanCurrent === null ? 0 : logCurrent(portion.meanCurrent);
  const seen: SeenPortion = {
    counts: count === null ? null : countLogs(feed.chute, count),
    fell,
    current: foreseen === null ? null : { drawn, foreseen },
  };
  const suspicions = weighPortion(feed.suspicions, seen, feed.scale, feed.verdict?.suspect ?? null);
  const calm = feed.verdict === null && suspicions[foremost(suspicions)].sum < calmBelow;
  const pace = paced(feed.pace, at);
  const ordinary =
    foreseen === null || (drawn - foreseen.mean - foreseen.shift) ** 2 < 9 * (foreseen.spread + foreseen.doubt);
  return judged(
    {
      newestAt: at,
      uncountedRun: fell === null ? feed.uncountedRun : fell ? 0 : feed.uncountedRun + 1,
      lastFellAt: fell === true ? at : feed.lastFellAt,
      levelAtPortion: level,
      pace,
      chute:
        fell === true && feed.verdict === null
          ? learntRun(feed.chute, feed.uncountedRun, portion.chuteCount)
          : feed.chute,
      motor: motorAfter(feed.motor, portion, { inside, foreseen, fell: fell === true, usual: calm && ordinary }),
      scale: settings.sensors.scale ? sunkByPortion(feed.scale, at) : feed.scale,
      suspicions,
      verdict: feed.verdict === null ? null : { ...feed.verdict, portions: feed.verdict.portions + 1 },
      payments,
    },
    feed.suspicions,
    settings,
    at,
    "portion",
  );
}

function portionCutShort(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
): FeedState {
  const at = portion.recordedAt;
  const payments = answeredInPart(feed.payments, portion);
  if (!settings.sensors.scale || (feed.scale.at !== null && at < feed.scale.at)) return { ...feed, payments };
  return { ...feed, payments, scale: { ...feed.scale, at: null, portionsSince: 0, odd: null } };
}

/** The scale said something: portions that were given since either made it lighter or didn't. */
export function watchWeighing(feed: FeedState, reading: Grams, at: Instant, settings: FeederSettings): FeedState {
  if (!settings.sensors.scale || (feed.newestAt !== null && at < feed.newestAt)) return feed;
  if (feed.scale.at !== null && at < feed.scale.at) return feed;
  const calm = feed.verdict === null && feed.suspicions[foremost(feed.suspicions)].sum < calmBelow;
  const { track, wander, anew } = weighedBy(feed.scale, reading, at, settings, {
    calm,
    held: heldLevels(feed.suspicions),
  });
  if (anew) return { ...feed, scale: track, suspicions: heldAnew(feed.suspicions, track) };
  if (wander === null) return { ...feed, scale: track };
  const suspicions = weighReading(feed.suspicions, feed.scale, reading, wander);
  return judged({ ...feed, scale: track, suspicions }, feed.suspicions, settings, at, "reading");
}

/** Somebody refilled or repaired: what was found about falling food belongs to the time before, a blind sensor is blind still. */
export function feedRefilled(feed: FeedState): FeedState {
  const { blind, halfBlind, fewSeen, scaleStuck } = feed.suspicions;
  const ofSensor = chuteIsBlind(feed) || feed.verdict?.named === "scaleStuck";
  return {
    ...feed,
    uncountedRun: 0,
    levelAtPortion: null,
    scale: { ...feed.scale, at: null, portionsSince: 0, odd: null, sprang: false },
    suspicions: ofSensor ? { ...nothingSuspected, blind, halfBlind, fewSeen, scaleStuck } : nothingSuspected,
    verdict: ofSensor ? feed.verdict : null,
  };
}

/** A deposit was made; `now` is when we heard of it, `paused` what the feeder said about itself in that report. */
export const watchDeposit = (
  feed: FeedState,
  deposit: Deposit & { readonly seq: number; readonly recordedAt: Instant },
  now: Instant,
  paused = false,
): FeedState => ({ ...feed, payments: depositMade(feed.payments, deposit, now, paused) });

export const watchPress = (
  feed: FeedState,
  press: { readonly seq: number; readonly recordedAt: Instant },
  now: Instant,
  paused = false,
): FeedState => ({ ...feed, payments: pressMade(feed.payments, press, now, paused) });

/**
 * A whole report has been taken in, all its events before this call. Only reports prove a deposit unpaid: a feeder that
 * fell silent may have paid and not told. `sentAt`: its time of sending; `spooled`: what still waits there, null if unsaid.
 */
export function watchReport(
  feed: FeedState,
  sentAt: Instant,
  spooled: number | null,
  paused: boolean,
  now: Instant,
): FeedState {
  const payments = reportRead(feed.payments, sentAt, spooled, paused, now);
  return payments === feed.payments ? feed : { ...feed, payments };
}

/** The chute sensor is known to miss what falls: its zero is no evidence for anybody. */
export const chuteIsBlind = ({ verdict }: FeedState): boolean =>
  verdict !== null && (verdict.named === "blind" || verdict.named === "halfBlind");

/** All that is wrong with the feed, the cause before its consequences. */
export function feedFaults(
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
  now: Instant,
  paused = false,
): readonly Fault[] {
  const causes = causeFaults(feed, level, settings, now);
  const stopped = causes.some(({ kind }) => kind !== "chuteBlind" && kind !== "scaleSilent");
  return [...causes, ...paymentFaults(feed.payments, stopped, now, paused)];
}

/** See `debtsForgiven` in payments.ts. */
export const feedForgiven = (feed: FeedState): FeedState => ({ ...feed, payments: debtsForgiven(feed.payments) });

// --- verdict -------------------------------------------------------------------------------------------------------

/** Takes in what the sums say now: a verdict begins, gets its name, or is over. */
function judged(
  feed: FeedState,
  before: Suspicions,
  settings: FeederSettings,
  at: Instant,
  by: "portion" | "reading",
): FeedState {
  const { chute, scale } = settings.sensors;
  const senses = { chute, scale, current: feed.motor.lastMilliamps !== null };
  const above = (suspect: Suspect) => alarmAbove(feed.pace, suspect, senses);
  if (feed.verdict === null) {
    if (!suspects.some((suspect) => feed.suspicions[suspect].sum >= above(suspect))) return feed;
    const suspect = foremost(feed.suspicions);
    return named({ ...feed, verdict: { since: at, portions: 0, against: 0, named: null, suspect } }, settings);
  }
  const { suspect } = feed.verdict;
  const first = foremost(feed.suspicions);
  const step = feed.suspicions[suspect].sum - Math.max(before[suspect].sum, 0);
  const verdict = weighedAnew(feed.verdict, step, first, by);
  const suspicions = notHoarded(feed.suspicions, above(first) + hoardMost);
  if (verdict !== null) return named({ ...feed, verdict, suspicions }, settings);
  // Something else is wrong as well, by evidence of its own.
  const other = suspects.find((one) => !alike(one, suspect) && suspicions[one].sum >= above(one));
  if (other !== undefined) {
    return named({ ...feed, verdict: { ...feed.verdict, against: 0, suspect: other }, suspicions }, settings);
  }
  return { ...feed, verdict: null, suspicions: feedCleared(suspicions, above("halfBlind") / 2) };
}

function named(feed: FeedState, settings: FeederSettings): FeedState {
  if (feed.verdict === null) return feed;
  const likely = likelyNames(feed.suspicions, feed.levelAtPortion, settings, feed.scale.sprang);
  const name = nameIn(likely, feed.verdict, settings.sensors.scale);
  return name === feed.verdict.named ? feed : { ...feed, verdict: { ...feed.verdict, named: name } };
}

// --- what was seen -------------------------------------------------------------------------------------------------

/** Null where no sensor can tell. */
function sawItFall(feed: FeedState, portion: Portion, settings: FeederSettings): boolean | null {
  if (portion.motorRan === 0) return false;
  if (!settings.sensors.chute || portion.chuteCount === null) return null;
  if (portion.chuteCount > 0) return true;
  return chuteIsBlind(feed) ? null : false;
}

/** Misses are learnt once food is seen again: before, nobody knows whether they were any. A third in a row is no habit. */
function learntRun(habit: ChuteHabit, misses: number, count: number | null): ChuteHabit {
  let learnt = habit;
  for (let miss = 0; miss < Math.min(misses, 2); miss += 1) learnt = learntCount(learnt, 0);
  return learntCount(learnt, count ?? 0);
}

interface SeenMotor {
  readonly inside: Celsius | null;
  readonly foreseen: CurrentForeseen | null;
  readonly fell: boolean;
  readonly usual: boolean; // nothing is suspected, and the current was an ordinary one
}

function motorAfter(
  motor: MotorHabit,
  { meanCurrent, recordedAt }: Portion & { readonly recordedAt: Instant },
  { inside, foreseen, fell, usual }: SeenMotor,
): MotorHabit {
  if (meanCurrent === null) return motor;
  return fell || usual
    ? learntCurrent(motor, meanCurrent, recordedAt, inside, fell)
    : drew(motor, meanCurrent, recordedAt, foreseen);
}
