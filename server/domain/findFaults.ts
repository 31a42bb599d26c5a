import { texts } from "../text/index.ts";
import type { Alarm } from "./alarms/alarm.ts";
import { coldFaults } from "./cold/cold.ts";
import { type Fault, type FaultKind, faultsStoppingFood } from "./faults.ts";
import { feedFaults } from "./feed/feed.ts";
import type { FeederState, Trouble } from "./feeder.ts";
import { planFaults } from "./feedingPlan/planFaults.ts";
import { hopperFaults, updateHopperForecast } from "./hopper/hopperFaults.ts";
import { emptyThreshold, hopperLevel } from "./hopper/level.ts";
import { fallSpan } from "./hopper/outlierReading.ts";
import { after, hours, type Instant, minutes, type Span } from "./instant.ts";
import { pauseFaults, staysPausedFault } from "./orders/orderFaults.ts";
import { isPaused } from "./orders/pauseStatus.ts";
import { bootReusedFault, unreadableFault } from "./reportFaults.ts";
import { feederSilentFault } from "./silence/feederSilence.ts";
import { readingFaults, sensorFaults } from "./silence/sensorFaults.ts";

/** All faults of a feeder now, at most one of each kind. The alarms decide on notifications. */
export function findFaults(state: FeederState, now: Instant): readonly Fault[] {
  const { settings, reporting, orders, clock } = state;
  // A pause that did not arrive must be known whatever else is wrong, most of all without reports.
  const pause = pauseFaults(orders, settings, now);
  const unreadable = asList(unreadableFault(state.refusedReports));
  if (reporting.kind === "neverReported") return [...pause, ...unreadable]; // it can't be missing before its first report

  // Without reports nothing is known about hopper and sensors, so the silence is the only fault.
  const silent = feederSilentFault(reporting, settings, now);
  if (silent !== null) return [silent, ...pause];

  const { hopper, feed } = state;
  const level = hopperLevel(hopper, settings);
  const paused = isPaused(orders, now);
  const sensors = sensorFaults(state.sensors, settings, now, paused);
  const feedFindings = feedFaults(feed, level, settings, now, paused);
  const scaleStuck = [...sensors, ...feedFindings].some(({ kind }) => kind === "scaleSilent");
  return oncePerKind([
    ...pause,
    ...asList(staysPausedFault(orders, settings, now)),
    ...feedFindings.filter((fault) => !isWaitingForLevel(state, fault, now) && !isRefutedByFood(state, fault)),
    ...(isEmptyByMistake(state, scaleStuck, now)
      ? []
      : hopperFaults(hopper, settings, now, state.hopperForecast, newestFellAt(state)).map((fault) =>
          fault.kind === "foodOut" && (isOnlyReckonedEmpty(state) || isEmptyUnderLoad(state))
            ? { ...fault, kind: "foodLow" as const }
            : fault,
        )),
    ...sensors,
    ...readingFaults(state.sensors, settings, now),
    ...coldFaults(state.cold, settings, now),
    ...planFaults(state, now, paused),
    ...asList(troubleFault(state.trouble, now)),
    ...unreadable,
    ...asList(bootReusedFault(clock.reusedBoot, settings.zone, now)),
  ]);
}

/** How long a problem reported by the feeder is shown. Our choice: the protocol has no end of it. */
export const troubleShownMax = hours(1);

function troubleFault(trouble: Trouble | null, now: Instant): Fault | null {
  if (trouble === null || now >= after(trouble.at, troubleShownMax)) return null;
  return {
    kind: "troubleReported",
    reason: texts.feederReports.trouble(trouble.text),
    evidence: [{ label: texts.feederReports.troubleLabel, value: trouble.text, at: trouble.at }],
    confidence: null,
  };
}

/** The state with its food forecast, updated where it is due. */
export function withForecast(state: FeederState, now: Instant): FeederState {
  const { hopperForecast, hopper, settings, alarms } = state;
  const forecast = updateHopperForecast(hopperForecast, hopper, settings, now, activeSince(alarms.foodLow));
  return forecast === hopperForecast ? state : { ...state, hopperForecast: forecast };
}

/** Raised, so that clearing it takes a little more (the deadband is in each module). */
const isActiveAlarm = (alarm: Alarm | undefined): boolean => activeSince(alarm) !== null;

/** When it was raised; null where it isn't active. */
const activeSince = (alarm: Alarm | undefined): Instant | null =>
  alarm?.state === "unacknowledged" || alarm?.state === "acknowledged" ? alarm.raisedAt : null;

const asList = (fault: Fault | null): readonly Fault[] => (fault === null ? [] : [fault]);

/**
 * The scale has just shown far less in the hopper than estimated, and the next reading will confirm it or not: until then an empty
 * hopper looks like a jam. An active alarm stays active.
 */
function isWaitingForLevel({ hopper, alarms, settings }: FeederState, { kind }: Fault, now: Instant): boolean {
  const { pendingJump, estimate } = hopper;
  if (pendingJump === null || pendingJump.grams >= estimate.level || isActiveAlarm(alarms[kind])) return false;
  const settlesAt = after(pendingJump.at, (fallSpan + 2 * settings.reportEvery) as Span);
  return now < settlesAt && emptyLikeFaults.has(kind);
}

/** Food fell with the newest portion: nobody is told that none does. An active alarm waits for a second portion. */
function isRefutedByFood({ feed, alarms, settings }: FeederState, { kind }: Fault): boolean {
  const { diagnosis, lastFellAt, lastPortionAt } = feed;
  if (!settings.sensors.chute || diagnosis === null || lastFellAt === null || isActiveAlarm(alarms[kind])) return false;
  if (diagnosis.cause === "trayPartlyJammed") return false; // a part of each portion falls
  return stoppedFaults.has(kind) && lastFellAt === lastPortionAt && lastFellAt > diagnosis.since;
}

/** When the newest portion was seen to fall; null where it was not. */
const newestFellAt = ({ feed, settings }: FeederState): Instant | null =>
  settings.sensors.chute && feed.lastFellAt === feed.lastPortionAt ? feed.lastFellAt : null;

/** An empty hopper still gives a piece now and then. */
const stoppedFaults: ReadonlySet<FaultKind> = new Set(faultsStoppingFood.filter((kind) => kind !== "foodOut"));

const emptyLikeFaults: ReadonlySet<FaultKind> = new Set<FaultKind>([
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "depositUnpaid",
  "paymentUnclear",
  "chuteBlind",
]);

/**
 * Without a scale a hopper is empty by what was given of it, and so may be wrong by a word or a portion's weight: while portions fall, that is
 * low food. Dispensers give an empty portion now and then, so the second in a row makes it an empty hopper. An active alarm stays: an empty
 * hopper gives a piece now and then.
 */
const isOnlyReckonedEmpty = ({ hopper, settings, alarms }: FeederState): boolean =>
  hopper.weighedAt === null &&
  hopper.lastWord?.at !== hopper.emptySince &&
  settings.sensors.chute &&
  hopper.emptyPortions < 2 &&
  !isActiveAlarm(alarms.foodOut);

/**
 * What the scale shows is taken for snow or rain on the lid, and nothing for food: part of it may be food that nobody told of. Until portions are
 * empty that is low food.
 */
const isEmptyUnderLoad = ({ hopper, settings, alarms }: FeederState): boolean =>
  hopper.weighedAt !== null &&
  hopper.estimate.lidLoad > emptyThreshold(settings) &&
  hopper.lastWord?.at !== hopper.emptySince &&
  hopper.emptyPortions < 2 &&
  !isActiveAlarm(alarms.foodOut);

/** So long after a portion that fell nobody knows whether the next one will. Our choice. */
const fallingFor = minutes(5);

/** Food that falls can't come from an empty hopper: a stuck scale is no evidence for that, nor is one before its next reading. */
function isEmptyByMistake({ feed, hopper, alarms }: FeederState, scaleStuck: boolean, now: Instant): boolean {
  const { emptySince, pendingJump, estimate } = hopper;
  if (emptySince === null || feed.lastFellAt === null) return false;
  // By the scale's level alone it may be some portions too early: while they fall, nobody is told that it is empty.
  const isFalling =
    hopper.weighedAt !== null && feed.uncountedPortions === 0 && now < after(feed.lastFellAt, fallingFor);
  if (isFalling && !isActiveAlarm(alarms.foodOut)) return true;
  if (feed.lastFellAt <= emptySince) return false;
  return scaleStuck || (pendingJump !== null && pendingJump.grams > estimate.level && !isActiveAlarm(alarms.foodOut));
}

/** Two modules may find the same fault; the first, which is more specific, counts. */
function oncePerKind(faults: readonly Fault[]): readonly Fault[] {
  return faults.filter(({ kind }, index) => faults.findIndex((other) => other.kind === kind) === index);
}
