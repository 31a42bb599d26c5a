import type { Fault } from "../faults.ts";
import type { HopperLevel } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import type { Deposit, Portion } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import type { Celsius, Grams } from "../units.ts";
import { alarmThreshold, updatePortionRate } from "./alarmThreshold.ts";
import { causeFaults } from "./causeFaults.ts";
import { causeProbabilities } from "./causeProbabilities.ts";
import { type ChuteModel, countLogLikelihoods, updateChuteModel } from "./chuteModel.ts";
import { type Hypothesis, hypotheses, isSamePart } from "./faultSignatures.ts";
import { sureCause, updateDiagnosis } from "./feedDiagnosis.ts";
import type { FeedState } from "./feedState.ts";
import {
  clearFeedStatistics,
  fixedScaleEstimates,
  type HypothesisStatistics,
  initialStatistics,
  leadingHypothesis,
  limitStatistics,
  type PortionObservation,
  restartScaleEstimates,
  updateStatisticsByPortion,
  updateStatisticsByReading,
} from "./hypothesisStatistics.ts";
import {
  type ExpectedCurrent,
  expectedCurrent,
  logCurrent,
  type MotorModel,
  recordUnlearntCurrent,
  updateMotorModel,
} from "./motorModel.ts";
import {
  clearUnpaid,
  paymentFaults,
  updatePaymentsByCutShort,
  updatePaymentsByDeposit,
  updatePaymentsByPortion,
  updatePaymentsByPress,
  updatePaymentsByReport,
} from "./payments.ts";
import { updateTrackByPortion, updateTrackByReading } from "./scaleTrack.ts";

/** Habits are learnt from portions by which nothing is suspected yet: less than one miss of the chute sensor's worth. */
const statisticCalmMax = 3;
/** Evidence for the foremost fault is kept to so much above what the alarm took. */
const statisticExcessMax = 6;

/** A portion was given. `level`: what was in the hopper then, `inside`: how warm it was, as far as known. */
export function updateFeedByPortion(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  level: HopperLevel | null,
  settings: FeederSettings,
  inside: Celsius | null = null,
): FeedState {
  // A run that was cut short proves neither a fault nor a payment; the scale has to be read anew after it.
  if (portion.cutShort === true) return updateByCutShortPortion(feed, portion, settings);
  const payments = updatePaymentsByPortion(feed.payments, portion, didFoodFall(feed, portion, settings));
  const at = portion.recordedAt;
  if (feed.lastPortionAt !== null && at < feed.lastPortionAt) return { ...feed, payments };
  // A motor that wasn't run says nothing about the feed.
  if (portion.motorRan === 0) return { ...feed, payments };

  const count = settings.sensors.chute ? portion.chuteCount : null;
  const fell = count === null ? null : count > 0;
  const foreseen = portion.meanCurrent === null ? null : expectedCurrent(feed.motor, at, inside);
  const drawn = portion.meanCurrent === null ? 0 : logCurrent(portion.meanCurrent);
  const seen: PortionObservation = {
    countLogLikelihoods: count === null ? null : countLogLikelihoods(feed.chute, count),
    didFall: fell,
    current: foreseen === null ? null : { drawn, foreseen },
  };
  const suspicions = updateStatisticsByPortion(feed.statistics, seen, feed.scale, feed.diagnosis?.hypothesis ?? null);
  const calm = feed.diagnosis === null && suspicions[leadingHypothesis(suspicions)].sum < statisticCalmMax;
  const pace = updatePortionRate(feed.portionRate, at);
  const ordinary =
    foreseen === null ||
    (drawn - foreseen.mean - foreseen.shift) ** 2 < 9 * (foreseen.variance + foreseen.shiftVariance);
  return updateFeedDiagnosis(
    {
      lastPortionAt: at,
      uncountedPortions: fell === null ? feed.uncountedPortions : fell ? 0 : feed.uncountedPortions + 1,
      lastFellAt: fell === true ? at : feed.lastFellAt,
      levelAtPortion: level,
      portionRate: pace,
      chute:
        fell === true && feed.diagnosis === null
          ? updateChuteByRun(feed.chute, feed.uncountedPortions, portion.chuteCount)
          : feed.chute,
      motor: updateMotorByPortion(feed.motor, portion, {
        inside,
        foreseen,
        fell: fell === true,
        usual: calm && ordinary,
      }),
      scale: settings.sensors.scale ? updateTrackByPortion(feed.scale, at) : feed.scale,
      statistics: suspicions,
      diagnosis:
        feed.diagnosis === null ? null : { ...feed.diagnosis, portionsSince: feed.diagnosis.portionsSince + 1 },
      payments,
    },
    feed.statistics,
    settings,
    at,
    "portion",
  );
}

function updateByCutShortPortion(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
): FeedState {
  const at = portion.recordedAt;
  const payments = updatePaymentsByCutShort(feed.payments, portion);
  if (!settings.sensors.scale || (feed.scale.readingAt !== null && at < feed.scale.readingAt))
    return { ...feed, payments };
  return { ...feed, payments, scale: { ...feed.scale, readingAt: null, portionsSince: 0, outliers: null } };
}

/** The scale said something: portions that were given since either made it lighter or didn't. */
export function updateFeedByWeighing(
  feed: FeedState,
  reading: Grams,
  at: Instant,
  settings: FeederSettings,
): FeedState {
  if (!settings.sensors.scale || (feed.lastPortionAt !== null && at < feed.lastPortionAt)) return feed;
  if (feed.scale.readingAt !== null && at < feed.scale.readingAt) return feed;
  const calm = feed.diagnosis === null && feed.statistics[leadingHypothesis(feed.statistics)].sum < statisticCalmMax;
  const { track, addedVariance, isRestarted } = updateTrackByReading(feed.scale, reading, at, settings, {
    calm,
    held: fixedScaleEstimates(feed.statistics),
  });
  if (isRestarted) return { ...feed, scale: track, statistics: restartScaleEstimates(feed.statistics, track) };
  if (addedVariance === null) return { ...feed, scale: track };
  const suspicions = updateStatisticsByReading(feed.statistics, feed.scale, reading, addedVariance);
  return updateFeedDiagnosis(
    { ...feed, scale: track, statistics: suspicions },
    feed.statistics,
    settings,
    at,
    "reading",
  );
}

/** Somebody refilled or repaired: what was found about falling food belongs to the time before, a blind sensor is blind still. */
export function updateFeedByRefill(feed: FeedState): FeedState {
  const { chuteBlind, chuteHalfBlind, chuteUndercounting, scaleStuck } = feed.statistics;
  const ofSensor = isChuteBlind(feed) || feed.diagnosis?.cause === "scaleStuck";
  return {
    ...feed,
    uncountedPortions: 0,
    levelAtPortion: null,
    scale: { ...feed.scale, readingAt: null, portionsSince: 0, outliers: null, hasJumpedDown: false },
    statistics: ofSensor
      ? { ...initialStatistics, chuteBlind, chuteHalfBlind, chuteUndercounting, scaleStuck }
      : initialStatistics,
    diagnosis: ofSensor ? feed.diagnosis : null,
  };
}

/** A deposit was made; `now` is when we heard of it, `paused` what the feeder said about itself in that report. */
export const updateFeedByDeposit = (
  feed: FeedState,
  deposit: Deposit & { readonly seq: number; readonly recordedAt: Instant },
  now: Instant,
  paused = false,
): FeedState => ({ ...feed, payments: updatePaymentsByDeposit(feed.payments, deposit, now, paused) });

export const updateFeedByPress = (
  feed: FeedState,
  press: { readonly seq: number; readonly recordedAt: Instant },
  now: Instant,
  paused = false,
): FeedState => ({ ...feed, payments: updatePaymentsByPress(feed.payments, press, now, paused) });

/**
 * A whole report has been taken in, all its events before this call. Only reports prove a deposit unpaid: a feeder that
 * fell silent may have paid and not told. `sentAt`: its time of sending; `spooled`: what still waits there, null if unsaid.
 */
export function updateFeedByReport(
  feed: FeedState,
  sentAt: Instant,
  spooled: number | null,
  paused: boolean,
  now: Instant,
): FeedState {
  const payments = updatePaymentsByReport(feed.payments, sentAt, spooled, paused, now);
  return payments === feed.payments ? feed : { ...feed, payments };
}

/** The chute sensor is known to miss what falls: its zero is no evidence for anybody. */
export const isChuteBlind = ({ diagnosis }: FeedState): boolean =>
  diagnosis !== null && (diagnosis.cause === "chuteBlind" || diagnosis.cause === "chuteHalfBlind");

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
export const clearUnpaidPortions = (feed: FeedState): FeedState => ({ ...feed, payments: clearUnpaid(feed.payments) });

// --- verdict -------------------------------------------------------------------------------------------------------

/** Takes in what the sums say now: a verdict begins, gets its name, or is over. */
function updateFeedDiagnosis(
  feed: FeedState,
  before: HypothesisStatistics,
  settings: FeederSettings,
  at: Instant,
  by: "portion" | "reading",
): FeedState {
  const { chute, scale } = settings.sensors;
  const senses = { chute, scale, current: feed.motor.lastMilliamps !== null };
  const above = (suspect: Hypothesis) => alarmThreshold(feed.portionRate, suspect, senses);
  if (feed.diagnosis === null) {
    if (!hypotheses.some((suspect) => feed.statistics[suspect].sum >= above(suspect))) return feed;
    const suspect = leadingHypothesis(feed.statistics);
    return updateDiagnosedCause(
      { ...feed, diagnosis: { since: at, portionsSince: 0, healthEvidence: 0, cause: null, hypothesis: suspect } },
      settings,
    );
  }
  const { hypothesis: suspect } = feed.diagnosis;
  const first = leadingHypothesis(feed.statistics);
  const step = feed.statistics[suspect].sum - Math.max(before[suspect].sum, 0);
  const verdict = updateDiagnosis(feed.diagnosis, step, first, by);
  const suspicions = limitStatistics(feed.statistics, above(first) + statisticExcessMax);
  if (verdict !== null) return updateDiagnosedCause({ ...feed, diagnosis: verdict, statistics: suspicions }, settings);
  // Something else is wrong as well, by evidence of its own.
  const other = hypotheses.find((one) => !isSamePart(one, suspect) && suspicions[one].sum >= above(one));
  if (other !== undefined) {
    return updateDiagnosedCause(
      { ...feed, diagnosis: { ...feed.diagnosis, healthEvidence: 0, hypothesis: other }, statistics: suspicions },
      settings,
    );
  }
  return { ...feed, diagnosis: null, statistics: clearFeedStatistics(suspicions, above("chuteHalfBlind") / 2) };
}

function updateDiagnosedCause(feed: FeedState, settings: FeederSettings): FeedState {
  if (feed.diagnosis === null) return feed;
  const likely = causeProbabilities(feed.statistics, feed.levelAtPortion, settings, feed.scale.hasJumpedDown);
  const name = sureCause(likely, feed.diagnosis, settings.sensors.scale);
  return name === feed.diagnosis.cause ? feed : { ...feed, diagnosis: { ...feed.diagnosis, cause: name } };
}

// --- what was seen -------------------------------------------------------------------------------------------------

/** Null where no sensor can tell. */
function didFoodFall(feed: FeedState, portion: Portion, settings: FeederSettings): boolean | null {
  if (portion.motorRan === 0) return false;
  if (!settings.sensors.chute || portion.chuteCount === null) return null;
  if (portion.chuteCount > 0) return true;
  return isChuteBlind(feed) ? null : false;
}

/** Misses are learnt once food is seen again: before, nobody knows whether they were any. A third in a row is no habit. */
function updateChuteByRun(habit: ChuteModel, misses: number, count: number | null): ChuteModel {
  let learnt = habit;
  for (let miss = 0; miss < Math.min(misses, 2); miss += 1) learnt = updateChuteModel(learnt, 0);
  return updateChuteModel(learnt, count ?? 0);
}

interface SeenMotor {
  readonly inside: Celsius | null;
  readonly foreseen: ExpectedCurrent | null;
  readonly fell: boolean;
  readonly usual: boolean; // nothing is suspected, and the current was an ordinary one
}

function updateMotorByPortion(
  motor: MotorModel,
  { meanCurrent, recordedAt }: Portion & { readonly recordedAt: Instant },
  { inside, foreseen, fell, usual }: SeenMotor,
): MotorModel {
  if (meanCurrent === null) return motor;
  return fell || usual
    ? updateMotorModel(motor, meanCurrent, recordedAt, inside, fell)
    : recordUnlearntCurrent(motor, meanCurrent, recordedAt, foreseen);
}
