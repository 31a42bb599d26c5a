import type { Fault } from "../faults.ts";
import type { HopperLevel } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import type { Deposit, Portion } from "../report.ts";
import type { FeederSettings, Place } from "../settings.ts";
import type { Celsius, Grams } from "../units.ts";
import { alarmThreshold, portionsPerDay, updatePortionRate } from "./alarmThreshold.ts";
import { causeFaults } from "./causeFaults.ts";
import { causeProbabilities } from "./causeProbabilities.ts";
import { type ChuteModel, countLogLikelihoods, updateChuteModel, updateRecentPieces } from "./chuteModel.ts";
import { type EmptyPortions, emptyRunEvidence, emptyShareLimit, learnEmptyRun } from "./emptyPortions.ts";
import { faultSignatures, type Hypothesis, hypotheses, isSamePart } from "./faultSignatures.ts";
import { type FeedDiagnosis, sureCause, updateDiagnosis } from "./feedDiagnosis.ts";
import { type FeedState, withPayments } from "./feedState.ts";
import {
  clearFeedStatistics,
  fixedScaleEstimates,
  type HypothesisStatistic,
  type HypothesisStatistics,
  initialStatistics,
  isFallingByScale,
  isRisingByScale,
  leadingHypothesis,
  limitStatistics,
  type PortionObservation,
  restartScaleEstimates,
  updateStatisticsByPortion,
  updateStatisticsByReading,
} from "./hypothesisStatistics.ts";
import {
  expectedCurrent,
  isProvenByCurrent,
  logCurrent,
  type MotorModel,
  recordPeak,
  recordUnlearntCurrent,
  updateMotorModel,
} from "./motorModel.ts";
import { paymentFaults } from "./paymentFaults.ts";
import {
  clearUnpaid,
  updatePaymentsByCutShort,
  updatePaymentsByDeposit,
  updatePaymentsByPortion,
  updatePaymentsByPress,
  updatePaymentsByReport,
  withoutPresses,
} from "./payments.ts";
import { updateTrackByPortion, updateTrackByReading } from "./scaleTrack.ts";

/** What is usual is learnt only while the evidence for any fault is less than one miss of the chute sensor gives. */
const statisticCalmMax = 3;
/** The evidence for the leading hypothesis is limited to this much above the alarm's threshold. */
const statisticExcessMax = 6;

/** A portion was given. `level`: what was in the hopper then, `inside`: how warm it was, as far as known. */
export function updateFeedByPortion(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  level: HopperLevel | null,
  settings: FeederSettings,
  inside: Celsius | null = null,
): FeedState {
  // A run that was cut short proves neither a fault nor a payment; the scale must be read again after it.
  if (portion.cutShort === true) return updateByCutShortPortion(feed, portion, settings);
  const didFall = didFoodFall(feed, portion, settings);
  const payments = updatePaymentsByPortion(feed.payments, portion, didFall, settings.place);
  const at = portion.recordedAt;
  // It came late, or says nothing about the feed.
  if (at < (feed.lastPortionAt ?? at) || portion.motorRan === 0) return withPayments(feed, payments);

  const observation = observePortion(feed, portion, settings, inside);
  const statistics = updateStatisticsByPortion(feed.statistics, observation, feed.scale, diagnosedHypothesis(feed));
  const isCalm = feed.diagnosis === null && statistics[leadingHypothesis(statistics)].sum < statisticCalmMax;
  return updateFeedDiagnosis(
    {
      lastPortionAt: at,
      uncountedPortions: uncountedPortionsAfter(feed, observation.didFall),
      lastFellAt: observation.didFall === true ? at : feed.lastFellAt,
      levelAtPortion: level,
      portionRate: updatePortionRate(feed.portionRate, at),
      chute: updateChuteByPortion(feed, portion, observation.didFall),
      emptyPortions: updateEmptyPortions(feed, observation.didFall),
      motor: updateMotorByPortion(feed.motor, portion, observation, {
        inside,
        isCalm,
        didFall: isPlainFall(feed, portion, observation),
      }),
      scale: updateScaleByPortion(feed, at, observation.didFall, settings),
      statistics,
      diagnosis: countPortionSince(feed.diagnosis),
      payments,
    },
    feed.statistics,
    settings,
    at,
    "portion",
  );
}

const diagnosedHypothesis = ({ diagnosis }: FeedState): Hypothesis | null =>
  diagnosis === null ? null : diagnosis.hypothesis;

const countPortionSince = (diagnosis: FeedDiagnosis | null): FeedDiagnosis | null =>
  diagnosis === null ? null : { ...diagnosis, portionsSince: diagnosis.portionsSince + 1 };

/**
 * Where nothing was counted, a healthy feeder's portion was as likely empty as missed: the scale that stands still then is the same event
 * as the count of zero, and no second sign. A sensor that is known to be blind says nothing.
 */
function emptyProbability(feed: FeedState, didFall: boolean | null): number {
  if (didFall === true) return 0;
  return didFall === false && !isChuteBlind(feed) ? 0.5 : feed.emptyPortions.afterFood.share;
}

const updateScaleByPortion = (feed: FeedState, at: Instant, didFall: boolean | null, { sensors }: FeederSettings) =>
  sensors.scale ? updateTrackByPortion(feed.scale, at, emptyProbability(feed, didFall)) : feed.scale;

/**
 * Empty portions are learnt once food is seen again: before, it is unknown whether something was wrong. What a failing chute sensor misses
 * isn't usual: as soon as half of the evidence for one is there, nothing is learnt.
 */
const updateEmptyPortions = (feed: FeedState, didFall: boolean | null): EmptyPortions =>
  didFall === true && !isChuteBlind(feed) && feed.statistics.chuteHalfBlind.sum < halfBlindLearntMax
    ? learnEmptyRun(feed.emptyPortions, feed.uncountedPortions)
    : feed.emptyPortions;
/** Our choice: with 3 instead, a feeder whose empty portions come in runs never learns them, and gets up to two alarms a month. */
const halfBlindLearntMax = 5;

const uncountedPortionsAfter = ({ uncountedPortions }: FeedState, didFall: boolean | null): number =>
  didFall === null ? uncountedPortions : didFall ? 0 : uncountedPortions + 1;

function updateByCutShortPortion(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
): FeedState {
  const at = portion.recordedAt;
  const payments = updatePaymentsByCutShort(feed.payments, portion);
  if (!settings.sensors.scale || (feed.scale.readingAt !== null && at < feed.scale.readingAt))
    return withPayments(feed, payments);
  return { ...feed, payments, scale: { ...feed.scale, readingAt: null, portionsSince: 0, outliers: null } };
}

/** A scale reading: it shows whether the portions given since the last one made the hopper lighter. */
export function updateFeedByWeighing(
  feed: FeedState,
  reading: Grams,
  at: Instant,
  settings: FeederSettings,
): FeedState {
  if (!settings.sensors.scale || (feed.lastPortionAt !== null && at < feed.lastPortionAt)) return feed;
  if (feed.scale.readingAt !== null && at < feed.scale.readingAt) return feed;
  const isCalm = feed.diagnosis === null && feed.statistics[leadingHypothesis(feed.statistics)].sum < statisticCalmMax;
  const { track, addedVariance, isRestarted } = updateTrackByReading(feed.scale, reading, at, settings, {
    canLearn: isCalm,
    scaleEstimates: fixedScaleEstimates(feed.statistics),
  });
  if (isRestarted) return { ...feed, scale: track, statistics: restartScaleEstimates(feed.statistics, track) };
  if (addedVariance === null) return { ...feed, scale: track };
  const statistics = updateStatisticsByReading(feed.statistics, feed.scale, reading, addedVariance);
  return updateFeedDiagnosis({ ...feed, scale: track, statistics }, feed.statistics, settings, at, "reading");
}

/** After a refill or repair, evidence about falling food is out of date. A blind sensor is still blind. */
export function updateFeedByRefill(feed: FeedState): FeedState {
  const { chuteBlind, chuteHalfBlind, chuteUndercounting, scaleStuck } = feed.statistics;
  const isSensorFault = isChuteBlind(feed) || feed.diagnosis?.cause === "scaleStuck";
  return {
    ...feed,
    uncountedPortions: 0,
    levelAtPortion: null,
    scale: { ...feed.scale, readingAt: null, portionsSince: 0, outliers: null, hasJumpedDown: false },
    statistics: isSensorFault
      ? { ...initialStatistics, chuteBlind, chuteHalfBlind, chuteUndercounting, scaleStuck }
      : initialStatistics,
    diagnosis: isSensorFault ? feed.diagnosis : null,
  };
}

/** A deposit was made; `now` is when the server received it, `paused` the feeder's state in that report. */
export const updateFeedByDeposit = (
  feed: FeedState,
  deposit: Deposit & { readonly seq: number; readonly recordedAt: Instant },
  now: Instant,
  paused = false,
  place: Place | null = null,
): FeedState => withPayments(feed, updatePaymentsByDeposit(feed.payments, deposit, now, paused, place));

/** What decides whether a press is owed anything. */
interface PressContext {
  readonly paused?: boolean;
  /** Since when the button counts what no bird presses; null: birds do. */
  readonly doubtedFrom?: Instant | null;
  readonly place?: Place | null;
}

export const updateFeedByPress = (
  feed: FeedState,
  press: { readonly seq: number; readonly recordedAt: Instant },
  now: Instant,
  { paused = false, doubtedFrom = null, place = null }: PressContext = {},
): FeedState =>
  withPayments(
    feed,
    doubtedFrom === null
      ? updatePaymentsByPress(feed.payments, press, now, paused, place)
      : withoutPresses(feed.payments, doubtedFrom),
  );

/**
 * A whole report has been processed, all its events before this call. Only reports prove a deposit unpaid: a feeder that
 * stopped reporting may have paid. `sentAt`: its time of sending; `spooled`: events still waiting there, null if not stated.
 */
export function updateFeedByReport(
  feed: FeedState,
  sentAt: Instant,
  spooled: number | null,
  paused: boolean,
  now: Instant,
): FeedState {
  const payments = updatePaymentsByReport(feed.payments, sentAt, spooled, paused, now);
  return payments === feed.payments ? feed : withPayments(feed, payments);
}

/** The chute sensor is known to miss what falls: a count of zero is no evidence. */
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
  const hasFoodStopped = causes.some(({ kind }) => kind !== "chuteBlind" && kind !== "scaleSilent");
  return [...causes, ...paymentFaults(feed.payments, hasFoodStopped, now, paused)];
}

/** See `clearUnpaid` in payments.ts. */
export const clearUnpaidPortions = (feed: FeedState): FeedState => withPayments(feed, clearUnpaid(feed.payments));

// --- diagnosis -----------------------------------------------------------------------------------------------------

/** Compares the statistics with their thresholds: a diagnosis begins, gets its cause, or ends. */
function updateFeedDiagnosis(
  feed: FeedState,
  before: HypothesisStatistics,
  settings: FeederSettings,
  at: Instant,
  by: "portion" | "reading",
): FeedState {
  const threshold = alarmThreshold(feed.portionRate);
  const isProven = (hypothesis: Hypothesis, among: HypothesisStatistics) =>
    Math.min(among[hypothesis].sum, evidenceLimit(feed, hypothesis, settings)) >= threshold;
  if (feed.diagnosis === null) {
    if (!hypotheses.some((one) => isProven(one, feed.statistics))) return feed;
    const hypothesis = leadingHypothesis(feed.statistics);
    return updateDiagnosedCause(
      { ...feed, diagnosis: { since: at, portionsSince: 0, healthEvidence: 0, cause: null, hypothesis } },
      settings,
    );
  }
  const { hypothesis } = feed.diagnosis;
  const first = leadingHypothesis(feed.statistics);
  // What one part's fault has begun is no proof of another part's.
  const leading = isSamePart(first, hypothesis) || isProven(first, feed.statistics) ? first : hypothesis;
  const step = feed.statistics[hypothesis].sum - Math.max(before[hypothesis].sum, 0);
  const diagnosis = updateDiagnosis(feed.diagnosis, step, leading, by);
  const statistics = limitStatistics(feed.statistics, threshold + statisticExcessMax);
  if (diagnosis !== null) return updateDiagnosedCause({ ...feed, diagnosis, statistics }, settings);
  // Another part is faulty as well, by its own evidence.
  const other = hypotheses.find((one) => !isSamePart(one, hypothesis) && isProven(one, statistics));
  if (other !== undefined) {
    return updateDiagnosedCause(
      { ...feed, diagnosis: { ...feed.diagnosis, healthEvidence: 0, hypothesis: other }, statistics },
      settings,
    );
  }
  return { ...feed, diagnosis: null, statistics: clearFeedStatistics(statistics, threshold / 2) };
}

/**
 * What the portions of a hypothesis can say at most. Some have a sign that no empty portion gives: a sensor that counts, but too little; a
 * scale that stands still while food was seen to fall; a current that only a motor draws which is blocked or without power. That must come
 * twice: a kernel that blocks the motor for one portion is no fault yet.
 */
function evidenceLimit(
  { emptyPortions, statistics, motor, scale }: FeedState,
  hypothesis: Hypothesis,
  { sensors }: FeederSettings,
): number {
  const { portions, emptyPortions: empties } = statistics[hypothesis];
  if (isHalfSeen(hypothesis)) return Number.POSITIVE_INFINITY;
  const isRising = isRisingByScale(statistics[hypothesis], scale);
  if ((hypothesis === "scaleStuck" || hypothesis === "trayPartlyJammed") && isRising) return 0;
  if (hypothesis === "scaleStuck" && portions > empties) return Number.POSITIVE_INFINITY;
  if (portions >= 2 && isProvenByCurrent(motor, hypothesis)) return Number.POSITIVE_INFINITY;
  if (isFallingByScale(statistics[hypothesis], scale)) return 0;
  const ofEmpties = emptyRunEvidence(emptyPortions, empties);
  return sensors.chute ? ofEmpties : isRising ? 0 : Math.min(ofEmpties, withoutRepeats(statistics[hypothesis]));
}

/** By a chute sensor that sees a part of what falls. */
const isHalfSeen = (hypothesis: Hypothesis): boolean =>
  ["halfBlind", "undercounting"].includes(faultSignatures[hypothesis].chute);

const withoutRepeats = ({ sum, byCurrent = 0 }: HypothesisStatistic): number =>
  sum - Math.max(byCurrent - currentEvidenceMax, 0);
/**
 * Supply, grease and the weight above the tray move a healthy motor's current by some percent for an hour, for all of its portions alike: they
 * are one sign, and not one each. Where no chute sensor sees the food, the scale must say the rest. Our choice: twenty to one, where an alarm
 * takes about fifty thousand to one.
 */
const currentEvidenceMax = 3;

function updateDiagnosedCause(feed: FeedState, settings: FeederSettings): FeedState {
  if (feed.diagnosis === null) return feed;
  const probabilities = causeProbabilities(feed, feed.levelAtPortion, settings);
  const cause = sureCause(probabilities, feed.diagnosis, settings.sensors.scale);
  return cause === feed.diagnosis.cause ? feed : { ...feed, diagnosis: { ...feed.diagnosis, cause } };
}

// --- what the sensors saw --------------------------------------------------------------------------------------------

function observePortion(
  feed: FeedState,
  portion: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
  inside: Celsius | null,
): PortionObservation {
  const count = settings.sensors.chute ? portion.chuteCount : null;
  const { meanCurrent, recordedAt } = portion;
  const expected = meanCurrent === null ? null : expectedCurrent(feed.motor, recordedAt, inside, meanCurrent);
  return {
    countLogLikelihoods:
      count === null
        ? null
        : countLogLikelihoods(feed.chute, count, emptyShareLimit(feed.emptyPortions, feed.uncountedPortions > 0)),
    didFall: count === null ? null : count > 0,
    current: meanCurrent === null || expected === null ? null : { drawn: logCurrent(meanCurrent), expected },
  };
}

/** Within three standard deviations, as far as it is known what is usual. */
const isUsualCurrent = (current: PortionObservation["current"]): boolean =>
  current === null ||
  Math.max(Math.abs(current.drawn - current.expected.mean - current.expected.shift) - current.expected.step, 0) ** 2 <
    9 * (current.expected.variance + current.expected.shiftVariance);

/** Null where no sensor can show it. */
function didFoodFall(feed: FeedState, portion: Portion, settings: FeederSettings): boolean | null {
  if (portion.motorRan === 0) return false;
  if (!settings.sensors.chute || portion.chuteCount === null) return null;
  if (portion.chuteCount > 0) return true;
  return isChuteBlind(feed) ? null : false;
}

/** Misses are learnt once food is seen again: before, it is unknown whether they were misses. A third in a row is not usual. */
function updateChuteByPortion(feed: FeedState, { chuteCount }: Portion, didFall: boolean | null): ChuteModel {
  if (chuteCount === null) return feed.chute;
  let model = updateRecentPieces(feed.chute, chuteCount);
  // What a sensor misses that is getting dirty isn't usual, nor what a tray gives that is narrowing.
  if (didFall !== true || feed.diagnosis !== null || feed.statistics.chuteUndercounting.sum >= statisticCalmMax)
    return model;
  const perDay = portionsPerDay(feed.portionRate);
  for (let miss = 0; miss < Math.min(feed.uncountedPortions, 2); miss += 1) model = updateChuteModel(model, 0, perDay);
  return updateChuteModel(model, chuteCount, perDay);
}

/** One piece where eight are usual may be a moth, or what a jammed motor shakes loose: its current isn't learnt as that of a motor that moves food. */
function isPlainFall({ chute }: FeedState, { chuteCount }: Portion, { didFall }: PortionObservation): boolean {
  return didFall === true && chuteCount !== null && chuteCount >= plainFallShare * chute.meanPieces;
}
const plainFallShare = 0.4;

function updateMotorByPortion(
  motor: MotorModel,
  { meanCurrent, peakCurrent, recordedAt }: Portion & { readonly recordedAt: Instant },
  { current }: PortionObservation,
  // Calm: no fault is likely.
  { inside, isCalm, didFall }: { readonly inside: Celsius | null; readonly isCalm: boolean; readonly didFall: boolean },
): MotorModel {
  if (meanCurrent === null)
    return motor.lastMilliamps === null ? motor : { ...motor, lastMilliamps: null, lastPeakMilliamps: null };
  const updated =
    didFall || (isCalm && isUsualCurrent(current))
      ? updateMotorModel(motor, meanCurrent, recordedAt, inside, didFall)
      : recordUnlearntCurrent(motor, meanCurrent, recordedAt, current?.expected ?? null);
  return recordPeak(updated, peakCurrent);
}
