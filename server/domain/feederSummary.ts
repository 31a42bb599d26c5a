import { type AllClearCondition, allClearObstacle, openFaults, titlesOf, unusableSensors } from "./allClear.ts";
import { type FaultKind, faultKinds, ruleOf } from "./faults.ts";
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
// Complex: one list of cases in the order of their importance.
export function feederSummary(state: FeederState, now: Instant): string {
  const { settings, reporting, orders } = state;
  const moment = (at: Instant) => momentText(at, settings.zone, now);
  const activeFaults = faultKinds.filter((kind) => isStanding(state, kind));

  // Other faults that it includes may give an alarm a higher priority than its own.
  const priorityOf = (kind: FaultKind) => state.alarms[kind]?.priority;
  const urgent = activeFaults.find((kind) => priorityOf(kind) === "urgent");
  if (urgent !== undefined) return alarmText(state, urgent, moment);
  const latched = faultKinds.find((kind) => isLatched(state, kind));
  if (latched !== undefined) return `Check needed: ${ruleOf(latched).title} (ended).`;
  const pending = pendingOrders(orders, now)[0];
  if (pending !== undefined) {
    const { revertedPause } = orders;
    if (revertedPause !== undefined)
      return `Restarted while paused; pause sent again at ${moment(revertedPause.at)}, not confirmed.`;
    return `${capitalized(pending.kind)} requested at ${moment(pending.requestedAt)}, not confirmed.`;
  }
  if (settings.placement === "onBench") return "In the workshop: recorded, no notifications.";
  if (settings.placement === "putAway") return "In storage: battery alarms only.";
  if (isStanding(state, "reportsUnreadable")) return alarmText(state, "reportsUnreadable", moment);
  if (reporting.kind === "neverReported") return "No report yet.";
  if (isStanding(state, "reportsIrregular")) return alarmText(state, "reportsIrregular", moment);
  if (isStanding(state, "staysPaused")) return alarmText(state, "staysPaused", moment);
  if (isPaused(orders, now)) return pauseText(state, now, moment);
  const pause = pauseStatus(orders, now);
  if (pause.kind === "endedUnconfirmed") {
    return `Was due to resume at ${moment(pause.until)}, not confirmed.`;
  }
  const soon = activeFaults.find((kind) => priorityOf(kind) === "soon");
  if (soon !== undefined) return alarmText(state, soon, moment);
  const food = foodOutlook(state, now).text;
  const obstacle = allClearObstacle(state, now);
  if (obstacle === null) return `OK: ${food}.`;
  return [obstacleText(obstacle, state, activeFaults, moment), `${capitalized(food)}.`]
    .filter((text) => text !== "")
    .join(" ");
}

/** Why it isn't OK, as a sentence; empty where the text about its food says it. */
// Complex: a switch over all conditions.
function obstacleText(
  obstacle: AllClearCondition,
  state: FeederState,
  notes: readonly FaultKind[],
  moment: (at: Instant) => string,
): string {
  const { reporting, orders } = state;
  switch (obstacle) {
    case "hasReported":
      return "Connected. State not known yet.";
    case "reportsOnTime":
      return reporting.kind === "reporting" ? `Last report ${moment(reporting.lastReportAt)}.` : "";
    case "followsOrders":
      return orders.newest?.status === "refused" ? `It refused to ${orders.newest.kind}.` : "Last order not confirmed.";
    case "isFeeding":
      return "Pause ended, feeding not confirmed.";
    case "hasNoOpenFaults":
      return notes.length > 0 ? `Notes: ${titlesOf(notes)}.` : `No notifications: ${titlesOf(openFaults(state))}.`;
    case "sensorsHaveReported":
      return `No signal from its ${unusableSensors(state).join(" and its ")} yet.`;
    case "inGarden": // covered above
    case "notPaused":
    case "levelIsKnown":
    case "foodLastsADay":
      return "";
  }
}

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

function alarmText(state: FeederState, kind: FaultKind, moment: (at: Instant) => string): string {
  if (kind === "feederSilent" && state.reporting.kind === "reporting")
    return `No reports since ${moment(state.reporting.lastReportAt)}.`;
  if (kind === "reportsIrregular" && state.reporting.kind === "reporting") {
    return `No reports since ${moment(state.reporting.lastReportAt)}.`;
  }
  const since = state.alarms[kind]?.since;
  const text = capitalized(ruleOf(kind).title);
  return since === undefined ? `${text}.` : `${text} since ${moment(since)}.`;
}

function pauseText({ orders }: FeederState, now: Instant, moment: (at: Instant) => string): string {
  const until = orders.newest?.kind === "pause" ? orders.newest.until : null;
  return until === null || until <= now ? "Paused until resumed." : `Paused until ${moment(until)}.`;
}

/** "14:20" today, "yesterday 22:10", "Thursday 3 December 06:00" else. */
function momentText(at: Instant, zone: string, now: Instant): string {
  const [date, today] = [localDateOf(at, zone), localDateOf(now, zone)];
  const time = localTimeOf(at, zone);
  return date === today ? time : `${dayText(date, today)} ${time}`;
}

const capitalized = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);
