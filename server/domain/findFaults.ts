import type { Alarm } from "./alarms/alarm.ts";
import { coldFaults } from "./cold/cold.ts";
import type { Fault, FaultKind } from "./faults.ts";
import { feedFaults } from "./feed/feed.ts";
import type { FeederState, Trouble } from "./feeder.ts";
import { hopperFaults, updateHopperForecast } from "./hopper/hopperFaults.ts";
import { hopperLevel } from "./hopper/level.ts";
import { after, hours, type Instant, minutes, type Span } from "./instant.ts";
import { pauseFaults, staysPausedFault } from "./orders/orderFaults.ts";
import { isPaused } from "./orders/pauseStatus.ts";
import { bootReusedFault, unreadableFault } from "./reportFaults.ts";
import { feederSilentFault } from "./silence/feederSilence.ts";
import { readingFaults, sensorFaults } from "./silence/sensorFaults.ts";

/** All that is wrong with a feeder now, at most once a kind. Which of it is told, and when, is the alarms' business. */
export function findFaults(state: FeederState, now: Instant): readonly Fault[] {
  const { settings, reporting, orders, clock } = state;
  // A stop that did not arrive must be known whatever else is wrong, most of all while the feeder is silent.
  const pause = pauseFaults(orders, settings, now);
  const unreadable = asList(unreadableFault(state.refusedReports));
  if (reporting.kind === "neverReported") return [...pause, ...unreadable]; // nothing that was never there can be missed

  // A feeder that is not talking tells nothing about its hopper or its sensors, so its silence is all we claim.
  const silence = feederSilentFault(reporting, settings, now);
  if (silence !== null) return [silence, ...pause];

  const { hopper, feed } = state;
  const level = hopperLevel(hopper, settings);
  const paused = isPaused(orders, now);
  const sensors = sensorFaults(state.sensors, settings, now, paused);
  const ofFeed = feedFaults(feed, level, settings, now, paused);
  const scaleStuck = [...sensors, ...ofFeed].some(({ kind }) => kind === "scaleSilent");
  return oncePerKind([
    ...pause,
    ...asList(staysPausedFault(orders, settings, now)),
    ...ofFeed.filter((fault) => !waitsForLevel(state, fault, now)),
    ...(isEmptyByMistake(state, scaleStuck) ? [] : hopperFaults(hopper, settings, now, state.hopperForecast)),
    ...sensors,
    ...readingFaults(state.sensors, settings, now),
    ...coldFaults(state.cold, settings, now),
    ...asList(troubleFault(state.trouble, now)),
    ...unreadable,
    ...asList(bootReusedFault(clock.reusedBoot, settings.zone, now)),
  ]);
}

/** How long the feeder's own words stand. Our choice: it has no word for "over". */
export const troubleLasts = hours(1);

function troubleFault(trouble: Trouble | null, now: Instant): Fault | null {
  if (trouble === null || now >= after(trouble.at, troubleLasts)) return null;
  return {
    kind: "troubleReported",
    reason: `The feeder says: ${trouble.text}`,
    evidence: [{ label: "the feeder's own words", value: trouble.text, at: trouble.at }],
    confidence: null,
  };
}

/** The state with what can be foreseen of its food, reckoned anew where it is time. */
export function withForecast(state: FeederState, now: Instant): FeederState {
  const { hopperForecast, hopper, settings, alarms } = state;
  const foresight = updateHopperForecast(hopperForecast, hopper, settings, now, standsSince(alarms.foodLow));
  return foresight === hopperForecast ? state : { ...state, hopperForecast: foresight };
}

/** Told of, so that it takes a little more than its opposite to clear it (the deadband lies with the finder). */
const isStandingAlarm = (alarm: Alarm | undefined): boolean => standsSince(alarm) !== null;

/** When it was raised; null where it doesn't stand. */
const standsSince = (alarm: Alarm | undefined): Instant | null =>
  alarm?.state === "unacknowledged" || alarm?.state === "acknowledged" ? alarm.raisedAt : null;

const asList = (fault: Fault | null): readonly Fault[] => (fault === null ? [] : [fault]);

/**
 * The scale has just said that far less is in the hopper than was believed, and the next reading will show whether that
 * holds: until then an empty hopper looks like a jam. An alarm that stands already goes on standing.
 */
function waitsForLevel({ hopper, alarms, settings }: FeederState, { kind }: Fault, now: Instant): boolean {
  const { pendingJump, estimate } = hopper;
  if (pendingJump === null || pendingJump.grams >= estimate.level || isStandingAlarm(alarms[kind])) return false;
  const settles = after(pendingJump.at, (2 * settings.reportEvery + minutes(1)) as Span);
  return now < settles && looksLikeEmpty.has(kind);
}

const looksLikeEmpty: ReadonlySet<FaultKind> = new Set<FaultKind>([
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "depositUnpaid",
  "chuteBlind",
]);

/** What falls can't come from an empty hopper: a stuck scale that says so is no witness, nor is it until it reads anew. */
function isEmptyByMistake({ feed, hopper, alarms }: FeederState, scaleStuck: boolean): boolean {
  const { emptySince, pendingJump, estimate } = hopper;
  if (emptySince === null || feed.lastFellAt === null || feed.lastFellAt <= emptySince) return false;
  return scaleStuck || (pendingJump !== null && pendingJump.grams > estimate.level && !isStandingAlarm(alarms.foodOut));
}

/** Two rooms may see the same thing; the first, which looked closer, speaks. */
function oncePerKind(faults: readonly Fault[]): readonly Fault[] {
  return faults.filter(({ kind }, index) => faults.findIndex((other) => other.kind === kind) === index);
}
