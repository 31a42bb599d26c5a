import type { ColdState } from "./cold/cold.ts";
import type { FeedState } from "./feed/feedState.ts";
import type { FeederState } from "./feeder.ts";
import type { Appetite } from "./hopper/appetite.ts";
import type { HopperState } from "./hopper/level.ts";
import { roundNumber, roundNumbers } from "./rounding.ts";
import type { ReportingState } from "./silence/feederSilence.ts";
import type { SensorActivity, SensorsState } from "./silence/sensorActivity.ts";

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

const roundHopper = (hopper: HopperState, before: HopperState): HopperState => ({
  ...hopper,
  estimate: roundNumbers(hopper.estimate, before.estimate, 9),
  portionSpreadVariance: roundNumber(hopper.portionSpreadVariance, 7),
  noiseVariance: roundNumber(hopper.noiseVariance, 7),
  lidLoad: roundNumbers(hopper.lidLoad, before.lidLoad),
  cellCelsius: roundNumbers(hopper.cellCelsius, null),
  pendingJump: roundNumbers(hopper.pendingJump, before.pendingJump),
  foundRefill: roundNumbers(hopper.foundRefill, before.foundRefill),
  appetite: hopper.appetite === before.appetite ? hopper.appetite : roundAppetite(hopper.appetite, before.appetite),
});

/** Its days begin at fractions of a millisecond, by which they are told apart. */
const roundAppetite = (appetite: Appetite, before: Appetite): Appetite => ({
  ...appetite,
  dayEaten: roundNumber(appetite.dayEaten, 7),
  dayEmptyShare: roundNumber(appetite.dayEmptyShare, 7),
  daily: roundNumbers(appetite.daily, before.daily),
  eatenByPart: roundNumbers(appetite.eatenByPart, before.eatenByPart),
  daysWatchedByPart: roundNumbers(appetite.daysWatchedByPart, before.daysWatchedByPart),
  eatenTodayByPart: roundNumbers(appetite.eatenTodayByPart, before.eatenTodayByPart),
});

const roundFeed = (feed: FeedState, before: FeedState): FeedState => ({
  ...feed,
  levelAtPortion: roundNumbers(feed.levelAtPortion, before.levelAtPortion),
  portionRate: roundNumbers(feed.portionRate, before.portionRate),
  chute: roundNumbers(feed.chute, before.chute),
  motor: roundNumbers(feed.motor, before.motor),
  scale: roundNumbers(feed.scale, before.scale, 9),
  statistics: roundNumbers(feed.statistics, before.statistics),
  diagnosis: roundNumbers(feed.diagnosis, before.diagnosis),
  payments: roundNumbers(feed.payments, before.payments),
});

const roundReporting = (reporting: ReportingState, before: ReportingState): ReportingState =>
  reporting.kind === "neverReported"
    ? reporting
    : {
        ...reporting,
        intervals: roundNumbers(reporting.intervals, before.kind === "reporting" ? before.intervals : null),
      };

const roundSensors = (sensors: SensorsState, before: SensorsState): SensorsState => ({
  ...sensors,
  button: roundActivity(sensors.button, before.button),
  detector: roundActivity(sensors.detector, before.detector),
  perch: roundActivity(sensors.perch, before.perch),
});

const roundActivity = (activity: SensorActivity, before: SensorActivity): SensorActivity =>
  activity.pairings === before.pairings && activity.silence === before.silence
    ? activity
    : {
        ...activity,
        pairings: roundNumbers(activity.pairings, before.pairings),
        silence: roundNumbers(activity.silence, before.silence),
      };

const roundCold = (cold: ColdState, before: ColdState): ColdState => ({
  ...cold,
  supply: roundNumbers(cold.supply, before.supply),
  detector: roundNumbers(cold.detector, before.detector),
});
