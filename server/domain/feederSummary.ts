import { type AllClearCondition, allClearObstacle, openFaults, titlesOf, unusableSensors } from "./allClear.ts";
import { type FaultKind, faultKinds, ruleOf } from "./faults.ts";
import type { FeederState } from "./feeder.ts";
import { foodOutlook } from "./foodOutlook.ts";
import type { Instant } from "./instant.ts";
import { dayText, localDateOf, localTimeOf } from "./localTime.ts";
import { pendingOrders } from "./orders/orderTransitions.ts";
import { isPaused, pauseStatus } from "./orders/pauseStatus.ts";

/**
 * How a feeder is, in one calm sentence, for lists and for the screen reader: the gravest thing that needs the keeper,
 * else what it was told to do, else what isn't known of it, else that it is well. Times are the yard's own.
 */
export function feederSummary(state: FeederState, now: Instant): string {
  const { settings, reporting, orders } = state;
  const moment = (at: Instant) => momentText(at, settings.zone, now);
  const activeFaults = faultKinds.filter((kind) => isStanding(state, kind));

  // What it stands for besides may make an alarm graver than its own fault is.
  const priorityOf = (kind: FaultKind) => state.alarms[kind]?.priority;
  const urgent = activeFaults.find((kind) => priorityOf(kind) === "urgent");
  if (urgent !== undefined) return alarmText(state, urgent, moment);
  const latched = faultKinds.find((kind) => isLatched(state, kind));
  if (latched !== undefined) return `To be looked at: ${ruleOf(latched).title}, over by now.`;
  const pending = pendingOrders(orders, now)[0];
  if (pending !== undefined) {
    const { undonePause } = orders;
    if (undonePause !== undefined)
      return `Started anew since it paused; asked again at ${moment(undonePause.at)}, not yet confirmed.`;
    return `Waiting since ${moment(pending.requestedAt)} for it to ${pending.kind}.`;
  }
  if (settings.placement === "onBench") return "On the bench: kept on record, and nobody is told of it.";
  if (settings.placement === "putAway") return "Put away: told of only what may harm its battery.";
  if (isStanding(state, "reportsUnreadable")) return alarmText(state, "reportsUnreadable", moment);
  if (reporting.kind === "neverReported") return "Not yet connected.";
  if (isStanding(state, "reportsIrregular")) return alarmText(state, "reportsIrregular", moment);
  if (isStanding(state, "staysPaused")) return alarmText(state, "staysPaused", moment);
  if (isPaused(orders, now)) return pauseText(state, now, moment);
  const pause = pauseStatus(orders, now);
  if (pause.kind === "endedUnconfirmed") {
    return `Was to resume at ${moment(pause.until)} by itself; it has not said since whether it did.`;
  }
  const soon = activeFaults.find((kind) => priorityOf(kind) === "soon");
  if (soon !== undefined) return alarmText(state, soon, moment);
  const food = foodOutlook(state, now).text;
  const obstacle = allClearObstacle(state, now);
  if (obstacle === null) return `Well: ${food}.`;
  return [obstacleText(obstacle, state, activeFaults, moment), `${capitalized(food)}.`]
    .filter((text) => text !== "")
    .join(" ");
}

/** What keeps it from being called well, as a sentence of its own; empty where the words about its food say that themselves. */
function obstacleText(
  obstacle: AllClearCondition,
  state: FeederState,
  notes: readonly FaultKind[],
  moment: (at: Instant) => string,
): string {
  const { reporting, orders } = state;
  switch (obstacle) {
    case "hasReported":
      return "Connected, and hasn't told yet how it stands.";
    case "isHeardOfLate":
      return reporting.kind === "reporting" ? `Last heard ${moment(reporting.lastReportAt)}.` : "";
    case "doesAsAsked":
      return orders.newest?.status === "refused"
        ? `It refused to ${orders.newest.kind}.`
        : "It hasn't confirmed what it was told last.";
    case "isFeeding":
      return "Its pause is over, and it hasn't said that it feeds again.";
    case "nothingStands":
      return notes.length > 0 ? `Noted: ${titlesOf(notes)}.` : `Kept quiet: ${titlesOf(openFaults(state))}.`;
    case "sensorsSpoke":
      return `Nothing yet from its ${unusableSensors(state).join(" and its ")}.`;
    case "inGarden": // said before
    case "notPaused":
    case "levelIsKnown":
    case "lastsADay":
      return "";
  }
}

/** Raised, and neither put aside by the keeper nor explained by a graver one. */
function isStanding(state: FeederState, kind: FaultKind): boolean {
  const phase = state.alarms[kind]?.state;
  return phase === "unacknowledged" || phase === "acknowledged";
}

/** Its fault is gone and may have done harm that nothing measures. */
function isLatched(state: FeederState, kind: FaultKind): boolean {
  const phase = state.alarms[kind]?.state;
  return phase === "latchedUnacknowledged" || phase === "latchedAcknowledged";
}

function alarmText(state: FeederState, kind: FaultKind, moment: (at: Instant) => string): string {
  if (kind === "feederSilent" && state.reporting.kind === "reporting")
    return `Silent since ${moment(state.reporting.lastReportAt)}.`;
  if (kind === "reportsIrregular" && state.reporting.kind === "reporting") {
    return `Not heard from since ${moment(state.reporting.lastReportAt)}.`;
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
