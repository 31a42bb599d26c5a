import { type FaultKind, faultKinds, ruleOf } from "./faults.ts";
import type { FeederState } from "./feeder.ts";
import { foodOutlook } from "./foodOutlook.ts";
import type { Instant } from "./instant.ts";
import { dayWords, localDateOf, localTimeOf } from "./localTime.ts";
import { pendingOrders } from "./orders/lifeCycle.ts";
import { isPaused, standingOf } from "./orders/standing.ts";
import { type MustBeKnown, mutedSensors, quietFaults, titlesOf, whyNotWell } from "./wellKnown.ts";

/**
 * How a feeder is, in one calm sentence, for lists and for the screen reader: the gravest thing that needs the keeper,
 * else what it was told to do, else what isn't known of it, else that it is well. Times are the yard's own.
 */
export function feederWords(state: FeederState, now: Instant): string {
  const { settings, link, orders } = state;
  const moment = (at: Instant) => momentOf(at, settings.zone, now);
  const gravest = faultKinds.filter((kind) => isStanding(state, kind));

  // What it stands for besides may make an alarm graver than its own fault is.
  const calls = (kind: FaultKind) => state.alarms[kind]?.priority;
  const urgent = gravest.find((kind) => calls(kind) === "urgent");
  if (urgent !== undefined) return alarmWords(state, urgent, moment);
  const latched = faultKinds.find((kind) => isLatched(state, kind));
  if (latched !== undefined) return `To be looked at: ${ruleOf(latched).title}, over by now.`;
  const pending = pendingOrders(orders, now)[0];
  if (pending !== undefined) {
    const { undone } = orders;
    if (undone !== undefined)
      return `Started anew since it paused; asked again at ${moment(undone.at)}, not yet confirmed.`;
    return `Waiting since ${moment(pending.askedAt)} for it to ${pending.kind}.`;
  }
  if (settings.duty === "onBench") return "On the bench: kept on record, and nobody is told of it.";
  if (settings.duty === "putAway") return "Put away: told of only what may harm its battery.";
  if (isStanding(state, "reportsUnreadable")) return alarmWords(state, "reportsUnreadable", moment);
  if (link.kind === "neverHeard") return "Not yet connected.";
  if (isStanding(state, "reportsIrregular")) return alarmWords(state, "reportsIrregular", moment);
  if (isStanding(state, "staysPaused")) return alarmWords(state, "staysPaused", moment);
  if (isPaused(orders, now)) return pausedWords(state, now, moment);
  const standing = standingOf(orders, now);
  if (standing.kind === "endedUnheard") {
    return `Was to resume at ${moment(standing.until)} by itself; it has not said since whether it did.`;
  }
  const soon = gravest.find((kind) => calls(kind) === "soon");
  if (soon !== undefined) return alarmWords(state, soon, moment);
  const food = foodOutlook(state, now).words;
  const doubt = whyNotWell(state, now);
  if (doubt === null) return `Well: ${food}.`;
  return [doubtWords(doubt, state, gravest, moment), `${capitalised(food)}.`].filter((words) => words !== "").join(" ");
}

/** What keeps it from being called well, as a sentence of its own; empty where the words about its food say that themselves. */
function doubtWords(
  doubt: MustBeKnown,
  state: FeederState,
  notes: readonly FaultKind[],
  moment: (at: Instant) => string,
): string {
  const { link, orders } = state;
  switch (doubt) {
    case "hasReported":
      return "Connected, and hasn't told yet how it stands.";
    case "isHeardOfLate":
      return link.kind === "heard" ? `Last heard ${moment(link.at)}.` : "";
    case "doesAsAsked":
      return orders.newest?.phase === "refused"
        ? `It refused to ${orders.newest.kind}.`
        : "It hasn't confirmed what it was told last.";
    case "isFeeding":
      return "Its pause is over, and it hasn't said that it feeds again.";
    case "nothingStands":
      return notes.length > 0 ? `Noted: ${titlesOf(notes)}.` : `Kept quiet: ${titlesOf(quietFaults(state))}.`;
    case "sensorsSpoke":
      return `Nothing yet from its ${mutedSensors(state).join(" and its ")}.`;
    case "inGarden": // said before
    case "notPaused":
    case "levelIsKnown":
    case "lastsADay":
      return "";
  }
}

/** Raised, and neither put aside by the keeper nor explained by a graver one. */
function isStanding(state: FeederState, kind: FaultKind): boolean {
  const phase = state.alarms[kind]?.phase;
  return phase === "unacknowledged" || phase === "acknowledged";
}

/** Its fault is gone and may have done harm that nothing measures. */
function isLatched(state: FeederState, kind: FaultKind): boolean {
  const phase = state.alarms[kind]?.phase;
  return phase === "latchedUnacknowledged" || phase === "latchedAcknowledged";
}

function alarmWords(state: FeederState, kind: FaultKind, moment: (at: Instant) => string): string {
  if (kind === "feederSilent" && state.link.kind === "heard") return `Silent since ${moment(state.link.at)}.`;
  if (kind === "reportsIrregular" && state.link.kind === "heard") {
    return `Not heard from since ${moment(state.link.at)}.`;
  }
  const since = state.alarms[kind]?.since;
  const words = capitalised(ruleOf(kind).title);
  return since === undefined ? `${words}.` : `${words} since ${moment(since)}.`;
}

function pausedWords({ orders }: FeederState, now: Instant, moment: (at: Instant) => string): string {
  const until = orders.newest?.kind === "pause" ? orders.newest.until : null;
  return until === null || until <= now ? "Paused until resumed." : `Paused until ${moment(until)}.`;
}

/** "14:20" today, "yesterday 22:10", "Thursday 3 December 06:00" else. */
function momentOf(at: Instant, zone: string, now: Instant): string {
  const [date, today] = [localDateOf(at, zone), localDateOf(now, zone)];
  const time = localTimeOf(at, zone);
  return date === today ? time : `${dayWords(date, today)} ${time}`;
}

const capitalised = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);
