import { advanceAlarms, faultsByKind, respondToAlarm } from "./alarms/advanceAlarms.ts";
import { alarmCheckAt } from "./alarms/alarmTransitions.ts";
import { type FaultSituation, suppressionOf } from "./alarms/suppression.ts";
import { updateCold, updateColdByDeposit, updateColdByPortion, updateColdByRefill } from "./cold/cold.ts";
import { withDetectedSensors } from "./detectedSensors.ts";
import type { Effect } from "./effects.ts";
import type { Fact, ReportedRefill } from "./facts.ts";
import { type Fault, faultKinds, ruleFor } from "./faults.ts";
import {
  clearUnpaidPortions,
  isChuteBlind,
  updateFeedByDeposit,
  updateFeedByPortion,
  updateFeedByPress,
  updateFeedByRefill,
  updateFeedByReport,
  updateFeedByWeighing,
} from "./feed/feed.ts";
import type { FeederState, Trouble } from "./feeder.ts";
import { findFaults, troubleLasts, withForecast } from "./findFaults.ts";
import { hopperLevel, updateHopperByPortion, updateHopperUntil } from "./hopper/level.ts";
import { updateHopperByRefill } from "./hopper/refill.ts";
import { updateHopperByWeighing } from "./hopper/weighing.ts";
import { after, days, earlier, type Instant, later, minutes, type Span } from "./instant.ts";
import {
  isFromEarlierStart,
  type OrdersStep,
  updateOrdersByPaused,
  updateOrdersByPortion,
  updateOrdersByStart,
} from "./orders/evidence.ts";
import {
  type AnswerStart,
  answerOrder,
  markOrdersOverdue,
  markOrdersSent,
  ordersCheckAt,
  requestOrder,
} from "./orders/orderTransitions.ts";
import { isPaused } from "./orders/pauseStatus.ts";
import type { FeederEvent, Readings, Report } from "./report.ts";
import { updateRefusedReports } from "./reportFaults.ts";
import type { FeederSettings } from "./settings.ts";
import { recordContact, silenceBeginsAt, updateReporting } from "./silence/feederSilence.ts";
import { updateSensorsByEvent, updateSensorsByReport } from "./silence/sensorFaults.ts";
import { withoutStuckReadings } from "./silence/stuckReadings.ts";
import type { Celsius } from "./units.ts";

export interface FeederStep {
  readonly state: FeederState;
  /** In the order in which they came about. */
  readonly effects: readonly Effect[];
}

/**
 * The one pure step in which all meaning meets: what a feeder's state becomes when something happens to it, and what the
 * shell must then do. Server, replay and simulation use this same function, so that each proves the others.
 *
 * `now` is our clock at the time the fact reached us, never earlier than at the step before. A fact is first taken into
 * the state, whole; only then are faults looked for, once, so that a report of a thousand old events is judged by where it
 * ends and not by what it passes through. The caller has set `state.clock` before it made the report's events.
 */
export function advanceFeeder(state: FeederState, fact: Fact, now: Instant): FeederStep {
  const effects: Effect[] = [];
  const taken = applyFact(state, fact, now, effects);
  return { state: updateAlarms(taken, now, effects), effects };
}

/**
 * When patrol must give this feeder its next minute, if nothing else happens: never before `now`. What comes due at a
 * known moment is named to the moment (silence, delays of alarms, shelf and pause ends, late orders, fading troubles). What
 * ripens gradually (a forecast, a quiet sensor, frost) has no such moment; it is looked at every ten minutes at least, so it
 * is seen up to ten minutes late, which is little against the hours in which it grows. A feeder that never said anything
 * needs a look a day.
 */
export function nextCheckAt(state: FeederState, now: Instant): Instant {
  let next = after(now, state.reporting.kind === "neverReported" ? checkIntervalUnreported : checkInterval);
  const consider = (at: Instant | null) => {
    if (at !== null && at > now) next = earlier(next, at);
  };
  consider(silenceBeginsAt(state.reporting, state.settings));
  consider(ordersCheckAt(state.orders, state.settings, now));
  if (state.trouble !== null) consider(after(state.trouble.at, troubleLasts));
  for (const kind of faultKinds) {
    const alarm = state.alarms[kind];
    if (alarm !== undefined) consider(alarmCheckAt(alarm, ruleFor(kind, state.settings)));
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
    case "orderRequested":
      return withOrders(requestOrder(state.orders, fact.order));
    case "ordersSent":
      return withOrders(markOrdersSent(state.orders, now));
    case "alarmAcknowledged":
    case "alarmShelved":
    case "alarmReset":
    case "alarmTakenOutOfService":
    case "alarmReturnedToService":
      return { ...state, alarms: respondToAlarm(state, fact, now, effects) };
  }
}

function applyReport(known: FeederState, report: Report, now: Instant, effects: Effect[]): FeederState {
  const before = known.refusedReports === undefined ? known : withoutRefusedReports(known);
  const settings = withDetectedSensors(before.settings, report);
  const state = settings === before.settings ? before : { ...before, settings };
  const { boot, sentUptime } = report;
  const link = updateReporting(state.reporting, { boot, sentUptime, reportEvery: settings.reportEvery }, now);
  const said = readingsTime(state, report, now);
  const from = eventOrigin(state, report, said);
  const begun = from === "this" && said !== null ? recordStart(state, report, said, now, effects) : state;
  // How the feeder stands is told beside the events, and holds for those that it tells with it.
  const paused = (said === null ? null : report.readings.paused) ?? isPaused(begun.orders, now);
  const warmth = said === null ? null : { celsius: report.readings.inside ?? report.readings.air, at: said };
  const telling: Telling = { from, warmth, paused, now, effects };
  const witnessed = applyEvents({ ...begun, reporting: link }, report.events, telling);
  return said === null ? witnessed : applyReadings(witnessed, report, said, telling);
}

/**
 * From which start of the feeder a report's events come: the one that lives, the one that was met last and is over now, an
 * earlier one, or one of which nobody knows when they happened (it never told anything else, or its report was under way for long).
 */
type EventOrigin = AnswerStart | "undated";

function eventOrigin({ clock, orders }: FeederState, { boot, sentUptime }: Report, said: Instant | null): EventOrigin {
  if (sentUptime !== null && isFromEarlierStart(orders, boot, sentUptime)) return "undated";
  // What was left behind is of a start that is over, also where the server hasn't met the next one yet.
  if (sentUptime === null && orders.lastStart?.boot === boot) return "over";
  if (sentUptime === null) return clock.boots.some((known) => known.boot === boot) ? "earlier" : "undated";
  return said !== null || orders.lastStart?.boot === boot ? "this" : "earlier";
}

function recordStart(state: FeederState, report: Report, at: Instant, now: Instant, effects: Effect[]): FeederState {
  const { boot, sentUptime, readings } = report;
  if (sentUptime === null) return state;
  const { orders, changed } = updateOrdersByStart(
    state.orders,
    { boot, uptime: sentUptime, at, paused: readings.paused },
    now,
  );
  for (const order of changed) effects.push({ kind: "orderChanged", order });
  return { ...state, orders };
}

const withoutRefusedReports = ({ refusedReports, ...state }: FeederState): FeederState => state;

interface InsideTemperature {
  readonly celsius: Celsius | null;
  readonly at: Instant;
}

/** As warm as a report says that it is inside, it was half an hour before; what it was in an old backlog nobody tells. */
const insideTemperatureAt = (warmth: InsideTemperature | null, at: Instant): Celsius | null =>
  warmth !== null && warmth.at - at <= minutes(30) ? warmth.celsius : null;

/** How what a report tells is to be taken. */
interface Telling {
  readonly from: EventOrigin;
  readonly warmth: InsideTemperature | null;
  readonly paused: boolean;
  readonly now: Instant;
  readonly effects: Effect[];
}

/** The parts of a state that events change. They change in place: a report of a thousand events makes one state. */
type Draft = { -readonly [part in "hopper" | "feed" | "cold" | "orders" | "trouble"]: FeederState[part] };

function applyEvents(state: FeederState, events: readonly FeederEvent[], telling: Telling): FeederState {
  const { settings } = state;
  const { hopper, feed, cold, orders, trouble } = state;
  const draft: Draft = { hopper, feed, cold, orders, trouble };
  let { sensors } = state;
  for (const event of events) {
    sensors = updateSensorsByEvent(sensors, event, settings);
    takeEvent(draft, event, settings, telling);
  }
  return { ...state, ...draft, sensors };
}

function takeEvent(draft: Draft, event: FeederEvent, settings: FeederSettings, telling: Telling): void {
  const { paused, now } = telling;
  switch (event.kind) {
    case "portion":
      takePortion(draft, event, settings, telling);
      return;
    case "press":
      draft.feed = updateFeedByPress(draft.feed, event, now, paused);
      return;
    case "deposit":
      draft.feed = updateFeedByDeposit(draft.feed, event, now, paused);
      draft.cold = updateColdByDeposit(draft.cold, event, event.recordedAt);
      return;
    case "refill": {
      const told = reportedRefill(event);
      if (told !== null) Object.assign(draft, applyRefill(draft, told, settings));
      return;
    }
    case "order": {
      const from = telling.from === "undated" ? "earlier" : telling.from;
      takeOrders(draft, answerOrder(draft.orders, event, event.recordedAt, now, from), telling);
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

function takePortion(
  draft: Draft,
  portion: Extract<FeederEvent, { kind: "portion" }>,
  settings: FeederSettings,
  telling: Telling,
): void {
  const { hopper, feed, cold, orders } = draft;
  const { recordedAt } = portion;
  draft.feed = updateFeedByPortion(
    feed,
    portion,
    hopperLevel(hopper, settings),
    settings,
    insideTemperatureAt(telling.warmth, recordedAt),
  );
  draft.hopper = updateHopperByPortion(hopper, portion, settings, isChuteBlind(draft.feed));
  draft.cold = updateColdByPortion(cold, portion, recordedAt);
  if (telling.from !== "undated") takeOrders(draft, updateOrdersByPortion(orders, portion, telling.now), telling);
}

function takeOrders(draft: Draft, { orders, changed }: OrdersStep, { effects }: Telling): void {
  draft.orders = orders;
  for (const order of changed) effects.push({ kind: "orderChanged", order });
}

const newerTrouble = (known: Trouble | null, said: Trouble): Trouble =>
  known === null || said.at >= known.at ? said : known;

function applyReadings(state: FeederState, report: Report, at: Instant, telling: Telling): FeederState {
  const { from, paused, now, effects } = telling;
  const { settings } = state;
  const { readings, unknownReadings: unknown = [] } = report;
  const { orders, changed } = updateOrdersByPaused(state.orders, from === "this" ? readings.paused : null, at, now);
  for (const order of changed) effects.push({ kind: "orderChanged", order });
  const sensors = updateSensorsByReport(state.sensors, report, at, settings);
  // A thermometer that stands still says nothing of the cold, nor of what the cold does to the scale.
  const living = withoutStuckReadings(readings, sensors.constantReadings);
  const { hopper, feed, cold } = applyWeight(state, living, report.events.length, at, effects);
  return {
    ...state,
    latestReadings: { at, readings, ...(unknown.length > 0 ? { unknownNames: unknown } : {}) },
    hopper,
    feed: updateFeedByReport(feed, at, readings.spooled, paused, now),
    cold: updateCold(cold, living, at, settings),
    sensors,
    orders,
  };
}

type FoodState = Pick<FeederState, "hopper" | "feed" | "cold">;

function applyWeight(
  state: FeederState,
  readings: Readings,
  told: number, // events in this report
  at: Instant,
  effects: Effect[],
): FoodState {
  const { settings } = state;
  const { hopper: weight, spooled } = readings;
  // A feeder that has told everything and says no portion fell, proves that none fell. What it tells just now still waits
  // there until it is answered.
  const toldAll = spooled === null || spooled <= told;
  const hopper = toldAll ? updateHopperUntil(state.hopper, at, settings) : state.hopper;
  if (weight === null) return { hopper, feed: state.feed, cold: state.cold };
  // What fell and isn't told yet is missing from the weight already.
  const found = toldAll
    ? updateHopperByWeighing(hopper, weight, at, settings, readings)
    : { hopper, foundRefill: null };
  const feed = updateFeedByWeighing(state.feed, weight, at, settings);
  if (found.foundRefill === null) return { hopper: found.hopper, feed, cold: state.cold };
  effects.push({ kind: "refillDetected", added: found.foundRefill, at });
  return { hopper: found.hopper, feed: updateFeedByRefill(feed), cold: updateColdByRefill(state.cold) };
}

function applyRefill({ hopper, feed, cold }: FoodState, told: ReportedRefill, settings: FeederSettings): FoodState {
  // Whoever looked how much is left has mended nothing.
  const mended = told.what.kind !== "level";
  return {
    hopper: updateHopperByRefill(hopper, told, settings),
    feed: mended ? updateFeedByRefill(feed) : feed,
    cold: mended ? updateColdByRefill(cold) : cold,
  };
}

/**
 * When a report's readings were taken; null where they are no news: an earlier boot left them behind, or a newer report
 * overtook this one on the way. History it may be, but never "the latest".
 */
function readingsTime(
  { clock, latestReadings }: FeederState,
  { boot, sentUptime }: Report,
  now: Instant,
): Instant | null {
  if (sentUptime === null) return null;
  const anchor = clock.boots.find((known) => known.boot === boot);
  const at = anchor ? earlier(now, after(anchor.receivedAt, (sentUptime - anchor.uptime) as Span)) : now;
  return latestReadings !== null && at < latestReadings.at ? null : at;
}

/** What a feeder's own button for "refilled" tells; null where it tells that, but neither how much nor how full. */
function reportedRefill(event: Extract<FeederEvent, { kind: "refill" }>): ReportedRefill | null {
  if (event.full) return { at: event.recordedAt, what: { kind: "filled" } };
  return event.added === null ? null : { at: event.recordedAt, what: { kind: "added", grams: event.added } };
}

/** From what is known to what is told: late orders, faults, alarms. */
function updateAlarms(state: FeederState, now: Instant, effects: Effect[]): FeederState {
  const { orders, changed } = markOrdersOverdue(state.orders, state.settings, now);
  for (const order of changed) effects.push({ kind: "orderChanged", order });
  const paused = isPaused(orders, now);
  const dated = withForecast(
    clearExplainedUnpaid(orders === state.orders ? state : { ...state, orders }, paused, now),
    now,
  );
  const alarms = advanceAlarms(dated, faultSituation(dated, findFaults(dated, now), paused, now), effects);
  return alarms === dated.alarms ? dated : { ...dated, alarms };
}

const faultSituation = (
  { alarms, settings }: FeederState,
  faults: readonly Fault[],
  paused: boolean,
  now: Instant,
): FaultSituation => ({
  faults: faultsByKind(faults),
  alarms,
  paused,
  placement: settings.placement ?? "inGarden",
  now,
});

/**
 * Deposits that went unpaid while another alarm explained it were told by that alarm. When it is over, by a refill say,
 * they must not come up as news; the next one that goes unpaid will.
 */
function clearExplainedUnpaid(state: FeederState, paused: boolean, now: Instant): FeederState {
  const unpaid = state.alarms.depositUnpaid;
  if (unpaid?.state !== "suppressedByDesign" || unpaid.raised !== null) return state;
  const situation = faultSituation(state, findFaults(state, now), paused, now);
  return suppressionOf("depositUnpaid", situation) === null
    ? { ...state, feed: clearUnpaidPortions(state.feed) }
    : state;
}
