import { capitalize } from "../text/format.ts";
import { texts } from "../text/index.ts";
import { type AllClearCondition, allClearObstacle, openFaults, titlesOf, unusableSensors } from "./allClear.ts";
import { isBenchRunning } from "./benchRun/benchRun.ts";
import { type FaultKind, faultKinds, type Priority, ruleOf } from "./faults.ts";
import type { FeederState } from "./feeder.ts";
import { foodOutlook } from "./foodOutlook.ts";
import type { Instant } from "./instant.ts";
import { dayText, localDateOf, localTimeOf } from "./localTime.ts";
import { pendingOrders } from "./orders/orderTransitions.ts";
import { isPaused, pauseStatus } from "./orders/pauseStatus.ts";

/**
 * The state of a feeder in one sentence, for lists and for the screen reader: the most important alarm, else an order to it, else
 * what isn't known, else that it is OK. Times are in the yard's zone.
 */
export function feederSummary(state: FeederState, now: Instant): string {
  const context: SummaryContext = {
    state,
    now,
    activeFaults: faultKinds.filter((kind) => isStanding(state, kind)),
    moment: (at) => momentText(at, state.settings.zone, now),
  };
  for (const summaryOf of cases) {
    const summary = summaryOf(context);
    if (summary !== null) return summary;
  }
  return foodSummary(context);
}

interface SummaryContext {
  readonly state: FeederState;
  readonly now: Instant;
  readonly activeFaults: readonly FaultKind[];
  readonly moment: (at: Instant) => string;
}

const text = texts.feederSummary;

/** The first that applies is the summary. */
const cases: readonly ((context: SummaryContext) => string | null)[] = [
  (context) => priorityText(context, "urgent"),
  latchedText,
  pendingOrderText,
  ({ state }) => (state.settings.imported ? text.imported : null),
  ({ state }) => placementTexts[state.settings.placement ?? "inGarden"],
  ({ state }) => (isBenchRunning(state.bench) ? text.benchRun : null),
  (context) => standingText(context, "reportsUnreadable"),
  ({ state }) => (state.reporting.kind === "neverReported" ? text.noReportYet : null),
  (context) => standingText(context, "reportsIrregular"),
  (context) => standingText(context, "staysPaused"),
  pauseText,
  resumeText,
  (context) => priorityText(context, "soon"),
];

const placementTexts = { inGarden: null, onBench: text.inWorkshop, putAway: text.inStorage } as const;

/** The most important alarm of that priority. Other faults that an alarm includes may give it a higher one than its own. */
function priorityText(context: SummaryContext, priority: Priority): string | null {
  const kind = context.activeFaults.find((fault) => context.state.alarms[fault]?.priority === priority);
  return kind === undefined ? null : alarmText(context, kind);
}

const standingText = (context: SummaryContext, kind: FaultKind): string | null =>
  isStanding(context.state, kind) ? alarmText(context, kind) : null;

function latchedText({ state }: SummaryContext): string | null {
  const latched = faultKinds.find((kind) => isLatched(state, kind));
  return latched === undefined ? null : text.checkNeeded(ruleOf(latched).title);
}

function pendingOrderText({ state: { orders }, now, moment }: SummaryContext): string | null {
  const pending = pendingOrders(orders, now)[0];
  if (pending === undefined) return null;
  const { revertedPause } = orders;
  if (revertedPause !== undefined) return text.pauseLost(moment(revertedPause.at));
  return text.requested[pending.kind](moment(pending.requestedAt));
}

function pauseText({ state: { orders }, now, moment }: SummaryContext): string | null {
  if (!isPaused(orders, now)) return null;
  const until = orders.newest?.kind === "pause" ? orders.newest.until : null;
  return until === null || until <= now ? text.paused : text.pausedUntil(moment(until));
}

function resumeText({ state: { orders }, now, moment }: SummaryContext): string | null {
  const pause = pauseStatus(orders, now);
  return pause.kind === "endedUnconfirmed" ? text.resumeUnconfirmed(moment(pause.until)) : null;
}

function foodSummary(context: SummaryContext): string {
  const food = foodOutlook(context.state, context.now).text;
  const obstacle = allClearObstacle(context.state, context.now);
  if (obstacle === null) return text.ok(food);
  const obstacleText = obstacleTexts[obstacle]?.(context) ?? null;
  return [...(obstacleText === null ? [] : [obstacleText]), text.food(capitalize(food))].join(" ");
}

/** Why it isn't OK, as a sentence. A condition is left out where another case covers it, or the text about its food does. */
const obstacleTexts: Partial<Readonly<Record<AllClearCondition, (context: SummaryContext) => string | null>>> = {
  hasReported: () => text.connected,
  reportsOnTime: ({ state: { reporting }, moment }) =>
    reporting.kind === "reporting" ? text.lastReport(moment(reporting.lastReportAt)) : null,
  followsOrders: ({ state: { orders } }) =>
    orders.newest?.status === "refused" ? text.refused[orders.newest.kind] : text.orderUnconfirmed,
  isFeeding: () => text.feedingUnconfirmed,
  hasNoOpenFaults: ({ state, activeFaults }) =>
    activeFaults.length > 0 ? text.notes(titlesOf(activeFaults)) : text.noNotifications(titlesOf(openFaults(state))),
  sensorsHaveReported: ({ state }) =>
    text.noSignalYet(unusableSensors(state).reduce((sensors, last) => text.andIts(sensors, last))),
};

/** Raised, and neither shelved nor suppressed. */
function isStanding(state: FeederState, kind: FaultKind): boolean {
  const phase = state.alarms[kind]?.state;
  return phase === "unacknowledged" || phase === "acknowledged";
}

/** Its fault ended and may have caused damage that nothing measures. */
function isLatched(state: FeederState, kind: FaultKind): boolean {
  const phase = state.alarms[kind]?.state;
  return phase === "latchedUnacknowledged" || phase === "latchedAcknowledged";
}

function alarmText({ state: { alarms, reporting }, moment }: SummaryContext, kind: FaultKind): string {
  const isSilent = kind === "feederSilent" || kind === "reportsIrregular";
  if (isSilent && reporting.kind === "reporting") return text.noReportsSince(moment(reporting.lastReportAt));
  const since = alarms[kind]?.since;
  const title = capitalize(ruleOf(kind).title);
  return since === undefined ? text.alarm(title) : text.alarmSince(title, moment(since));
}

/** "14:20" today, "yesterday 22:10", "Thursday 3 December 06:00" else. */
function momentText(at: Instant, zone: string, now: Instant): string {
  const [date, today] = [localDateOf(at, zone), localDateOf(now, zone)];
  const time = localTimeOf(at, zone);
  return date === today ? time : texts.time.moment(dayText(date, today), time);
}
