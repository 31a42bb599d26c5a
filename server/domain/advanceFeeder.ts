import { respondToAlarm } from "./alarms/advanceAlarms.ts";
import { alarmCheckAt } from "./alarms/alarmTransitions.ts";
import {
  applyBenchAct,
  type BenchContext,
  benchCheckAt,
  endBenchByPause,
  updateBenchByReport,
  updateBenchByTime,
  withoutBenchActs,
} from "./benchRun/advanceBench.ts";
import type { BenchState } from "./benchRun/benchRun.ts";
import { updateCold, updateColdByDeposit, updateColdByPortion, updateColdByRefill } from "./cold/cold.ts";
import { withDetectedSensors } from "./detectedSensors.ts";
import type { Effect } from "./effects.ts";
import type { Fact, ReportedRefill } from "./facts.ts";
import { faultKinds, ruleFor } from "./faults.ts";
import {
  isChuteBlind,
  updateFeedByDeposit,
  updateFeedByPortion,
  updateFeedByPress,
  updateFeedByRefill,
  updateFeedByReport,
  updateFeedByWeighing,
} from "./feed/feed.ts";
import type { FeederState, Trouble } from "./feeder.ts";
import { actsByPlan, advancePlan } from "./feedingPlan/advancePlan.ts";
import { troubleShownMax } from "./findFaults.ts";
import { hopperLevel, updateHopperByPortion, updateHopperUntil } from "./hopper/level.ts";
import { believeUnweighedWord, updateHopperByRefill } from "./hopper/refill.ts";
import { updateHopperByWeighing } from "./hopper/weighing.ts";
import { after, days, earlier, type Instant, later, minutes, type Span } from "./instant.ts";
import {
  isFromEarlierStart,
  type OrdersStep,
  updateOrdersByPaused,
  updateOrdersByPortion,
  updateOrdersByStart,
} from "./orders/evidence.ts";
import type { OrdersState } from "./orders/order.ts";
import {
  type AnswerStart,
  answerOrder,
  markOrdersSent,
  ordersCheckAt,
  requestOrder,
} from "./orders/orderTransitions.ts";
import { isPaused } from "./orders/pauseStatus.ts";
import type { FeederEvent, Readings, Report } from "./report.ts";
import { updateRefusedReports } from "./reportFaults.ts";
import { roundStatistics } from "./roundStatistics.ts";
import type { FeederSettings, Place } from "./settings.ts";
import { recordContact, silenceBeginsAt, updateReporting } from "./silence/feederSilence.ts";
import {
  countWithoutActivity,
  doubtfulSince,
  isFoundChattering,
  updateSensorsByEvent,
  updateSensorsByReport,
} from "./silence/sensorFaults.ts";
import { withoutStuckReadings } from "./silence/stuckReadings.ts";
import type { Celsius } from "./units.ts";
import { updateAlarms } from "./updateAlarms.ts";

export interface FeederStep {
  readonly state: FeederState;
  /** In the order in which they came about. */
  readonly effects: readonly Effect[];
}

/**
 * The one pure step of a feeder: its state after a fact, and the effects that the caller must carry out. Server, replay and
 * simulation use this same function, so that each tests the others.
 *
 * `now` is the server's time when the fact came in, never earlier than at the step before. A fact is first taken into
 * the state, whole; only then are faults looked for, once, so that a report of a thousand old events is judged by its end
 * and not by the states in between. The caller has set `state.clock` before it made the report's events.
 */
export function advanceFeeder(state: FeederState, fact: Fact, now: Instant): FeederStep {
  const effects: Effect[] = [];
  const timed = withBench(state, updateBenchByTime(state.bench, now));
  const updated = roundStatistics(applyFact(timed, fact, now, effects), state);
  return { state: updateAlarms(advancePlan(updated, state, fact, now), now, effects), effects };
}

/**
 * When the periodic check must check this feeder next, if nothing else happens: never before `now`. Exact for what has a known time
 * (silence, delays of alarms, ends of shelves and pauses, late orders, ends of troubles). What changes gradually (a forecast, frost)
 * is checked every ten minutes, which is little against its hours; a feeder that never reported once a day.
 */
export function nextCheckAt(state: FeederState, now: Instant): Instant {
  let next = after(now, state.reporting.kind === "neverReported" ? checkIntervalUnreported : checkInterval);
  const addTime = (at: Instant | null) => {
    if (at !== null && at > now) next = earlier(next, at);
  };
  addTime(silenceBeginsAt(state.reporting, state.settings));
  addTime(benchCheckAt(state.bench));
  addTime(ordersCheckAt(state.orders, state.settings, now));
  if (state.trouble !== null) addTime(after(state.trouble.at, troubleShownMax));
  for (const kind of faultKinds) {
    const alarm = state.alarms[kind];
    if (alarm !== undefined) addTime(alarmCheckAt(alarm, ruleFor(kind, state.settings)));
  }
  return next;
}

const checkInterval = minutes(10);
const checkIntervalUnreported = days(1);

function applyFact(state: FeederState, fact: Fact, now: Instant, effects: Effect[]): FeederState {
  const withOrders = ({ orders, changed }: OrdersStep): FeederState => {
    for (const order of changed) effects.push({ kind: "orderChanged", order });
    return { ...state, orders };
  };
  // Responses to an alarm, and nothing else, name a fault.
  if ("fault" in fact) return { ...state, alarms: respondToAlarm(state, fact, now, effects) };
  switch (fact.kind) {
    case "reported":
      return applyReport(state, fact.report, now, effects);
    case "reportRefused":
      return {
        ...state,
        reporting: recordContact(state.reporting, now),
        refusedReports: updateRefusedReports(state.refusedReports, fact.problem, now),
      };
    case "minutePassed":
      return state;
    case "settingsChanged":
      return { ...state, settings: fact.settings, hopperForecast: null };
    case "refillReported":
      return { ...state, ...applyRefill(state, fact.refill, state.settings) };
    case "cleaned":
      return { ...state, cleanedAt: later(fact.at, state.cleanedAt ?? fact.at) };
    case "benchAct":
      return withBench(state, applyBenchAct(state.bench, fact.act, fact.by, benchContext(state), now));
    case "orderRequested":
      return endBenchByOrder(withOrders(requestOrder(state.orders, fact.order)), state.orders, now);
    case "ordersSent":
      return withOrders(markOrdersSent(state.orders, now));
  }
}

const benchContext = ({ settings, orders }: FeederState): BenchContext => ({
  sensors: settings.sensors,
  reportEvery: settings.reportEvery,
  boot: orders.lastStart?.boot ?? null,
});

/** A new pause outranks a bench run; a repeated one changes nothing. */
const endBenchByOrder = (state: FeederState, before: OrdersState, now: Instant): FeederState =>
  state.orders !== before && state.orders.newest?.kind === "pause"
    ? withBench(state, endBenchByPause(state.bench, now))
    : state;

const withBench = (state: FeederState, bench: BenchState | undefined): FeederState =>
  bench === undefined || bench === state.bench ? state : { ...state, bench };

function applyReport(known: FeederState, report: Report, now: Instant, effects: Effect[]): FeederState {
  const state: Draft = known.refusedReports === undefined ? { ...known } : withoutRefusedReports(known);
  state.settings = withDetectedSensors(known.settings, report);
  const { boot, sentUptime } = report;
  const { reportEvery } = state.settings;
  state.reporting = updateReporting(state.reporting, { boot, sentUptime, reportEvery }, now);
  const readingsAt = readingsTime(state, report, now);
  const origin = eventOrigin(state, report, readingsAt);
  if (origin === "this" && readingsAt !== null) recordStart(state, report, readingsAt, now, effects);
  // The pause state in a report holds for the events in it.
  const paused = (readingsAt === null ? null : report.readings.paused) ?? isPaused(state.orders, now);
  const insideTemperature =
    readingsAt === null ? null : { celsius: report.readings.inside ?? report.readings.air, at: readingsAt };
  const context: ReportContext = { origin, insideTemperature, paused, now, effects };
  const bench = updateBenchByReport(state.bench, { report, readingsAt: origin === "this" ? readingsAt : null, now });
  applyEvents(state, actsByPlan(report.events, state), context);
  if (bench !== undefined) state.bench = bench;
  if (readingsAt !== null) applyReadings(state, report, readingsAt, context);
  return state;
}

/**
 * From which start of the feeder a report's events come: the current one, the last one known, which is over now, an earlier one, or
 * one whose times are unknown (there is no other report of it, or this one was in transit for long).
 */
type EventOrigin = AnswerStart | "undated";

function eventOrigin(
  { clock, orders }: FeederState,
  { boot, sentUptime }: Report,
  readingsAt: Instant | null,
): EventOrigin {
  if (sentUptime !== null && isFromEarlierStart(orders, boot, sentUptime)) return "undated";
  // Events left over from an earlier boot belong to a start that is over, even if the server doesn't know the next one yet.
  if (sentUptime === null && orders.lastStart?.boot === boot) return "over";
  if (sentUptime === null) return clock.boots.some((before) => before.boot === boot) ? "earlier" : "undated";
  return readingsAt !== null || orders.lastStart?.boot === boot ? "this" : "earlier";
}

function recordStart(state: Draft, report: Report, at: Instant, now: Instant, effects: Effect[]): void {
  const { boot, sentUptime, readings } = report;
  if (sentUptime === null) return;
  const { orders, changed } = updateOrdersByStart(
    state.orders,
    { boot, uptime: sentUptime, at, paused: readings.paused },
    now,
  );
  state.orders = orders;
  for (const order of changed) effects.push({ kind: "orderChanged", order });
}

const withoutRefusedReports = ({ refusedReports, ...state }: FeederState): FeederState => state;

interface InsideTemperature {
  readonly celsius: Celsius | null;
  readonly at: Instant;
}

/** The reported inside temperature holds for half an hour before; that of an old backlog is unknown. */
const insideTemperatureAt = (insideTemperature: InsideTemperature | null, at: Instant): Celsius | null =>
  insideTemperature !== null && insideTemperature.at - at <= minutes(30) ? insideTemperature.celsius : null;

/** What the events and readings of one report have in common. */
interface ReportContext {
  readonly origin: EventOrigin;
  readonly insideTemperature: InsideTemperature | null;
  readonly paused: boolean;
  readonly now: Instant;
  readonly effects: Effect[];
}

/** A copy of the state that belongs to one step. It changes in place: a report of a thousand events makes one state. */
type Draft = { -readonly [part in keyof FeederState]: FeederState[part] };

function applyEvents(draft: Draft, events: readonly FeederEvent[], context: ReportContext): void {
  const { settings } = draft;
  const birds = withoutBenchActs(events, draft.bench);
  if (birds !== events) {
    const withheld = events.filter((event) => !birds.includes(event));
    draft.sensors = countWithoutActivity(draft.sensors, withheld);
  }
  for (const event of birds) {
    draft.sensors = updateSensorsByEvent(draft.sensors, event, settings);
    applyEvent(draft, event, settings, context);
  }
}

function applyEvent(draft: Draft, event: FeederEvent, settings: FeederSettings, context: ReportContext): void {
  const { paused, now } = context;
  const { button } = draft.sensors;
  switch (event.kind) {
    case "portion":
      applyPortion(draft, event, settings, context);
      return;
    case "press":
      draft.feed = updateFeedByPress(draft.feed, event, now, {
        paused,
        doubtedFrom: doubtfulSince(button, event.recordedAt),
        place: settings.place,
      });
      return;
    case "deposit":
      applyDeposit(draft, event, settings.place, context);
      return;
    case "refill": {
      const reportedEvents = reportedRefill(event);
      if (reportedEvents !== null) Object.assign(draft, applyRefill(draft, reportedEvents, settings));
      return;
    }
    case "order": {
      const origin = context.origin === "undated" ? "earlier" : context.origin;
      applyOrders(draft, answerOrder(draft.orders, event, event.recordedAt, now, origin), context);
      return;
    }
    case "trouble":
      draft.trouble = newerTrouble(draft.trouble, { text: event.text, at: event.recordedAt });
      return;
    case "visit":
    case "lid":
    case "unknown":
      return;
  }
}

type DepositEvent = Extract<FeederEvent, { kind: "deposit" }>;
function applyDeposit(draft: Draft, event: DepositEvent, place: Place | null, context: ReportContext): void {
  // A button that chatters uses up the portions that a program gives in an hour.
  const nothingOwed = context.paused || isFoundChattering(draft.sensors.button, event.recordedAt);
  draft.feed = updateFeedByDeposit(draft.feed, event, context.now, nothingOwed, place);
  draft.cold = updateColdByDeposit(draft.cold, event, event.recordedAt);
}

function applyPortion(
  draft: Draft,
  portion: Extract<FeederEvent, { kind: "portion" }>,
  settings: FeederSettings,
  context: ReportContext,
): void {
  const { hopper, feed, cold, orders } = draft;
  const { recordedAt } = portion;
  draft.feed = updateFeedByPortion(
    feed,
    portion,
    hopperLevel(hopper, settings),
    settings,
    insideTemperatureAt(context.insideTemperature, recordedAt),
  );
  draft.hopper = updateHopperByPortion(hopper, portion, settings, isChuteBlind(draft.feed));
  draft.cold = updateColdByPortion(cold, portion, recordedAt);
  if (context.origin !== "undated") applyOrders(draft, updateOrdersByPortion(orders, portion, context.now), context);
}

function applyOrders(draft: Draft, { orders, changed }: OrdersStep, { effects }: ReportContext): void {
  draft.orders = orders;
  for (const order of changed) effects.push({ kind: "orderChanged", order });
}

const newerTrouble = (before: Trouble | null, readingsAt: Trouble): Trouble =>
  before === null || readingsAt.at >= before.at ? readingsAt : before;

function applyReadings(draft: Draft, report: Report, at: Instant, context: ReportContext): void {
  const { origin, paused, now, effects } = context;
  const { settings } = draft;
  const { readings, unknownReadings: unknown = [] } = report;
  const { orders, changed } = updateOrdersByPaused(draft.orders, origin === "this" ? readings.paused : null, at, now);
  draft.orders = orders;
  for (const order of changed) effects.push({ kind: "orderChanged", order });
  draft.sensors = updateSensorsByReport(draft.sensors, report, at, settings);
  // A stuck thermometer shows neither the cold nor its effect on the scale.
  const credible = withoutStuckReadings(readings, draft.sensors.constantReadings);
  const { hopper, feed, cold } = applyWeight(draft, credible, report.events.length, at, effects);
  draft.latestReadings = unknown.length > 0 ? { at, readings, unknownNames: unknown } : { at, readings };
  draft.hopper = hopper;
  draft.feed = updateFeedByReport(feed, at, readings.spooled, paused, now);
  draft.cold = updateCold(cold, credible, at, settings);
}

type FoodState = Pick<FeederState, "hopper" | "feed" | "cold">;

function applyWeight(
  state: FeederState,
  readings: Readings,
  reportedEvents: number, // events in this report
  at: Instant,
  effects: Effect[],
): FoodState {
  const { settings, cold } = state;
  const { hopper: weight, spooled } = readings;
  // A feeder without events left to send proves that no other portion fell. The events of this report still wait there until it
  // is answered.
  const isComplete = spooled === null || spooled <= reportedEvents;
  const hopper = isComplete ? updateHopperUntil(state.hopper, at, settings) : state.hopper;
  if (weight === null) return { hopper: believeUnweighedWord(hopper, at, settings), feed: state.feed, cold };
  // Portions not reported yet are missing from the weight already.
  const weighing = isComplete
    ? updateHopperByWeighing(hopper, weight, at, settings, readings)
    : { hopper, foundRefill: null };
  const feed = updateFeedByWeighing(state.feed, weight, at, settings);
  if (weighing.foundRefill === null) return { hopper: weighing.hopper, feed, cold };
  effects.push({ kind: "refillDetected", added: weighing.foundRefill, at });
  return { hopper: weighing.hopper, feed: updateFeedByRefill(feed), cold: updateColdByRefill(cold) };
}

function applyRefill(
  { hopper, feed, cold }: FoodState,
  reportedEvents: ReportedRefill,
  settings: FeederSettings,
): FoodState {
  // Entering the level repairs nothing.
  const isRepaired = reportedEvents.what.kind !== "level";
  return {
    hopper: updateHopperByRefill(hopper, reportedEvents, settings),
    feed: isRepaired ? updateFeedByRefill(feed) : feed,
    cold: isRepaired ? updateColdByRefill(cold) : cold,
  };
}

/**
 * When a report's readings were taken; null where they aren't the latest: they are left over from an earlier boot, or a newer
 * report overtook this one.
 */
function readingsTime(
  { clock, latestReadings }: FeederState,
  { boot, sentUptime }: Report,
  now: Instant,
): Instant | null {
  if (sentUptime === null) return null;
  const anchor = clock.boots.find((before) => before.boot === boot);
  const at = anchor ? earlier(now, after(anchor.receivedAt, (sentUptime - anchor.uptime) as Span)) : now;
  return latestReadings !== null && at < latestReadings.at ? null : at;
}

/** A refill reported by the feeder's own button; null where it gives neither the amount nor the level. */
function reportedRefill(event: Extract<FeederEvent, { kind: "refill" }>): ReportedRefill | null {
  if (event.full) return { at: event.recordedAt, what: { kind: "filled" } };
  return event.added === null ? null : { at: event.recordedAt, what: { kind: "added", grams: event.added } };
}
