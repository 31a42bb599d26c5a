import type { ColdState } from "./cold/cold.ts";
import type { FeedState } from "./feed/feedState.ts";
import type { ScaleTrack } from "./feed/scaleTrack.ts";
import type { FeederState } from "./feeder.ts";
import type { Appetite } from "./hopper/appetite.ts";
import { copyHopper, type HopperState } from "./hopper/hopperState.ts";
import type { LevelEstimate } from "./hopper/levelFilter.ts";
import { roundNumber, roundNumbers } from "./rounding.ts";
import type { ReportingState } from "./silence/feederSilence.ts";
import type { SensorActivity, SensorsState } from "./silence/sensorsState.ts";

/**
 * A state with its learnt numbers rounded, wherever they have changed since `before`. Readings stay as they came, since a stuck
 * sensor is known by its last digit, and so do moments and settings.
 */
export function roundStatistics(state: FeederState, before: FeederState): FeederState {
  if (state === before) return state;
  const { hopper, feed, reporting, sensors, cold } = state;
  return {
    ...state,
    hopper: hopper === before.hopper ? hopper : roundHopper(hopper, before.hopper),
    feed: feed === before.feed ? feed : roundFeed(feed, before.feed),
    reporting: reporting === before.reporting ? reporting : roundReporting(reporting, before.reporting),
    sensors: sensors === before.sensors ? sensors : roundSensors(sensors, before.sensors),
    cold: cold === before.cold ? cold : roundCold(cold, before.cold),
  };
}

function roundHopper(hopper: HopperState, before: HopperState): HopperState {
  const rounded = copyHopper(hopper);
  rounded.estimate = hopper.estimate === before.estimate ? hopper.estimate : roundEstimate(hopper.estimate);
  rounded.hypotheses = roundNumbers(hopper.hypotheses, before.hypotheses, 7);
  rounded.portionSpreadVariance = roundNumber(hopper.portionSpreadVariance, 7);
  rounded.noiseVariance = roundNumber(hopper.noiseVariance, 7);
  rounded.lidLoad = roundNumbers(hopper.lidLoad, before.lidLoad);
  rounded.cellCelsius = roundNumbers(hopper.cellCelsius, null);
  rounded.pendingJump = roundNumbers(hopper.pendingJump, before.pendingJump);
  rounded.unclearRise = roundNumbers(hopper.unclearRise, before.unclearRise);
  rounded.foundRefill = roundNumbers(hopper.foundRefill, before.foundRefill);
  rounded.toldLevel = roundNumbers(hopper.toldLevel, before.toldLevel);
  rounded.realisedError = roundNumbers(hopper.realisedError, before.realisedError);
  rounded.scoreBeforeDry = roundNumbers(hopper.scoreBeforeDry, null);
  rounded.levelBeforeDry = roundNumbers(hopper.levelBeforeDry, before.levelBeforeDry);
  rounded.appetite =
    hopper.appetite === before.appetite ? hopper.appetite : roundAppetite(hopper.appetite, before.appetite);
  return rounded;
}

// Written out, not spread, where each report changes it.
const roundEstimate = (estimate: LevelEstimate): LevelEstimate => ({
  level: roundNumber(estimate.level, 9),
  portion: roundNumber(estimate.portion, 9),
  slope: roundNumber(estimate.slope, 9),
  offset: roundNumber(estimate.offset, 9),
  zeroDrift: roundNumber(estimate.zeroDrift, 9),
  lidLoad: roundNumber(estimate.lidLoad, 9),
  covariance: roundNumbers(estimate.covariance, null, 9),
});

/** Its days begin at fractions of a millisecond, by which they are told apart. */
const roundAppetite = (appetite: Appetite, before: Appetite): Appetite => ({
  watchedSince: appetite.watchedSince,
  watchedUntil: appetite.watchedUntil,
  dayStart: appetite.dayStart,
  dayEaten: roundNumber(appetite.dayEaten, 7),
  dayPortions: appetite.dayPortions,
  dayEmptyShare: roundNumber(appetite.dayEmptyShare, 7),
  daily: roundNumbers(appetite.daily, before.daily),
  eatenByPart: roundNumbers(appetite.eatenByPart, before.eatenByPart),
  daysWatchedByPart: roundNumbers(appetite.daysWatchedByPart, before.daysWatchedByPart),
  eatenTodayByPart: roundNumbers(appetite.eatenTodayByPart, before.eatenTodayByPart),
  unobserved: appetite.unobserved, // its numbers were rounded as those of `daily`
});

const roundFeed = (feed: FeedState, before: FeedState): FeedState => ({
  lastPortionAt: feed.lastPortionAt,
  uncountedPortions: feed.uncountedPortions,
  lastFellAt: feed.lastFellAt,
  levelAtPortion: roundNumbers(feed.levelAtPortion, before.levelAtPortion),
  portionRate: roundNumbers(feed.portionRate, before.portionRate),
  chute: roundNumbers(feed.chute, before.chute),
  emptyPortions: roundNumbers(feed.emptyPortions, before.emptyPortions),
  motor: roundNumbers(feed.motor, before.motor),
  scale: feed.scale === before.scale ? feed.scale : roundTrack(feed.scale),
  statistics: roundNumbers(feed.statistics, before.statistics),
  diagnosis: roundNumbers(feed.diagnosis, before.diagnosis),
  payments: roundNumbers(feed.payments, before.payments),
});

const roundTrack = (track: ScaleTrack): ScaleTrack => ({
  readingAt: track.readingAt,
  level: roundNumber(track.level, 9),
  variance: roundNumber(track.variance, 9),
  meanPortion: roundNumber(track.meanPortion, 9),
  portionVariance: roundNumber(track.portionVariance, 9),
  covariance: roundNumber(track.covariance, 9),
  noise: roundNumber(track.noise, 9),
  lastPortionAt: track.lastPortionAt,
  portionsSince: track.portionsSince,
  outliers: track.outliers,
  drift: roundNumber(track.drift, 9),
  step: roundNumber(track.step, 9),
  lastReading: track.lastReading,
  hasJumpedDown: track.hasJumpedDown,
});

function roundReporting(reporting: ReportingState, before: ReportingState): ReportingState {
  if (reporting.kind === "neverReported") return reporting;
  const intervals = roundNumbers(reporting.intervals, before.kind === "reporting" ? before.intervals : null);
  return intervals === reporting.intervals ? reporting : { ...reporting, intervals };
}

function roundSensors(sensors: SensorsState, before: SensorsState): SensorsState {
  const button = roundActivity(sensors.button, before.button);
  const detector = roundActivity(sensors.detector, before.detector);
  const perch = roundActivity(sensors.perch, before.perch);
  const isRounded = button === sensors.button && detector === sensors.detector && perch === sensors.perch;
  return isRounded ? sensors : { ...sensors, button, detector, perch };
}

function roundActivity(activity: SensorActivity, before: SensorActivity): SensorActivity {
  const pairings = roundNumbers(activity.pairings, before.pairings);
  const silence = roundNumbers(activity.silence, before.silence);
  const hasty = roundNumbers(activity.hasty, before.hasty);
  const isRounded = pairings === activity.pairings && silence === activity.silence && hasty === activity.hasty;
  return isRounded ? activity : { ...activity, pairings, silence, hasty };
}

function roundCold(cold: ColdState, before: ColdState): ColdState {
  const supply = roundNumbers(cold.supply, before.supply);
  const detector = roundNumbers(cold.detector, before.detector);
  return supply === cold.supply && detector === cold.detector ? cold : { ...cold, supply, detector };
}
