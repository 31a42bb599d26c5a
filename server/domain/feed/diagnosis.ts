import type { Deposit, Portion } from "../facts.ts";
import type { Fault } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import type { HopperLevel } from "../hopper/level.ts";
import { scaleDrift, scaleNoise } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import type { Grams } from "../units.ts";
import { motorFaults, stopFaults } from "./causes.ts";
import { type MotorState, motorFaulty, unknownMotor, watchCurrent } from "./motorCurrent.ts";
import {
  debtsForgiven,
  depositMade,
  nothingOwed,
  type Payments,
  paymentFaults,
  portionGiven,
  pressMade,
  reportRead,
} from "./payments.ts";
import { portionInBlock, type ScaleEvidence, unweighed, weighedBlock } from "./scaleEvidence.ts";
import { type Bounds, bernoulliRatio, openTest, type SequentialTest, waldBounds, weigh } from "./sequentialTest.ts";

/**
 * Whether food falls when the motor runs, and if not, why. Each portion is weighed by every sensor that saw it: the chute
 * sensor, the motor's current, the scale. None of them is needed; what can't be told without one is said so.
 */
export interface FeedState {
  readonly newestAt: Instant | null; // the newest portion: an older one can't undo what it showed
  readonly chute: SequentialTest; // "nothing falls", by the chute sensor alone
  readonly missedShare: number; // of healthy portions that the chute sensor doesn't see, learnt
  readonly uncountedRun: number; // portions in a row that it didn't see
  readonly lastFellAt: Instant | null;
  readonly levelAtPortion: HopperLevel | null; // in the hopper when the newest portion was given
  readonly weighedAt: Instant | null;
  readonly motor: MotorState;
  readonly scale: ScaleEvidence;
  readonly payments: Payments;
}

export const freshFeed = (): FeedState => ({
  newestAt: null,
  chute: openTest,
  missedShare: 0.02,
  uncountedRun: 0,
  lastFellAt: null,
  levelAtPortion: null,
  weighedAt: null,
  motor: unknownMotor,
  scale: unweighed,
  payments: nothingOwed,
});

/**
 * A healthy chute sensor misses at most one portion in twenty until it is known better (a kernel can slip past a beam);
 * where nothing falls it still counts something once in ten: a moth, a drop, a crumb. Common practice, no source.
 */
const missedMin = 0.05;
const missedMax = 0.4;
const missedWhenStopped = 0.9;
/**
 * One false call in 100,000 tests, that is once in years at a hundred portions a day, for four portions of delay in a
 * chute that misses little. Two portions that fall are enough to take it back.
 */
const bounds: Bounds = waldBounds({ falseAlarm: 1e-5, missed: 0.02 });

/** A portion was given. `level`: what was in the hopper then, as far as known. */
export function watchPortion(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  level: HopperLevel | null,
  settings: FeederSettings,
): FeedState {
  const fell = sawItFall(feed, portion, settings);
  const payments = portionGiven(feed.payments, portion, fell);
  if (feed.newestAt !== null && portion.recordedAt < feed.newestAt) return { ...feed, payments };
  // A motor that wasn't run says nothing about the feed.
  if (portion.motorRan === 0) return { ...feed, payments };

  const motor = portion.meanCurrent === null ? feed.motor : watchCurrent(feed.motor, portion.meanCurrent, fell);
  // While the motor didn't turn nothing could fall: that it turns again opens the question anew.
  if (motorFaulty(feed.motor) && !motorFaulty(motor)) {
    return watchPortion({ ...feedRefilled(feed), motor }, portion, level, settings);
  }
  const counted = settings.sensors.chute && portion.chuteCount !== null ? portion.chuteCount > 0 : null;
  // Seen again, after the scale had seen all along: what the sensor missed speaks for no jam.
  const chute = counted === null ? feed.chute : counted && scaleSawFalls(feed) ? openTest : weighCount(feed, counted);
  const uncountedRun = counted === null ? feed.uncountedRun : counted ? 0 : feed.uncountedRun + 1;
  // Three misses in a row are no longer a matter of the sensor's habit.
  const learns = counted !== null && chute.verdict !== "faulty" && uncountedRun < 3;
  return {
    newestAt: portion.recordedAt,
    chute,
    missedShare: learns ? feed.missedShare + ((counted ? 0 : 1) - feed.missedShare) / 200 : feed.missedShare,
    uncountedRun,
    lastFellAt: counted === true ? portion.recordedAt : feed.lastFellAt,
    levelAtPortion: level,
    weighedAt: feed.weighedAt,
    motor,
    scale: settings.sensors.scale ? portionInBlock(feed.scale, counted) : feed.scale,
    payments,
  };
}

/** The scale said something: portions that were given since either made it lighter or didn't. */
export function watchWeighing(feed: FeedState, reading: Grams, at: Instant, settings: FeederSettings): FeedState {
  if (!settings.sensors.scale || (feed.newestAt !== null && at < feed.newestAt)) return feed;
  const noise = scaleNoise(settings);
  const scale = weighedBlock(feed.scale, reading, at, settings, noise, scaleDrift(settings), feed.uncountedRun);
  return { ...feed, scale, weighedAt: at };
}

/** Somebody refilled or repaired: what was found about falling food belongs to the time before. */
export const feedRefilled = (feed: FeedState): FeedState => ({
  ...feed,
  chute: openTest,
  uncountedRun: 0,
  levelAtPortion: null,
  scale: { ...unweighed, chuteBlind: feed.scale.chuteBlind },
});

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
export const chuteIsBlind = (feed: FeedState): boolean => feed.scale.chuteBlind.verdict === "faulty";

/** All that is wrong with the feed, the cause before its consequences. */
export function feedFaults(
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
  now: Instant,
  paused = false,
): readonly Fault[] {
  const motor = motorFaults(feed);
  const causes = motor.length > 0 ? motor : stopFaults(feed, level, settings, now);
  const stopped = causes.some(({ kind }) => kind !== "chuteBlind");
  return [...causes, ...paymentFaults(feed.payments, stopped, now, paused)];
}

/** See `debtsForgiven` in payments.ts. */
export const feedForgiven = (feed: FeedState): FeedState => ({ ...feed, payments: debtsForgiven(feed.payments) });

/** Null where no sensor can tell. */
function sawItFall(feed: FeedState, portion: Portion, settings: FeederSettings): boolean | null {
  if (portion.motorRan === 0) return false;
  if (!settings.sensors.chute || portion.chuteCount === null) return null;
  if (portion.chuteCount > 0) return true;
  return chuteIsBlind(feed) ? null : false;
}

/** The scale says that the portions which the chute sensor missed fell all the same. */
const scaleSawFalls = (feed: FeedState): boolean => chuteIsBlind(feed) || (feed.scale.uncounted ?? 0) < 0;

function weighCount(feed: FeedState, counted: boolean): SequentialTest {
  const missed = Math.min(Math.max(2 * feed.missedShare, missedMin), missedMax);
  return weigh(feed.chute, bernoulliRatio(!counted, missed, missedWhenStopped), bounds);
}
