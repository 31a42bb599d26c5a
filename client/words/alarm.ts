import type { AlarmView, FeederView } from "../../server/contract/api.ts";
import { sentence } from "./amount.ts";
import { whenWords } from "./clock.ts";

export const priorityWords = { urgent: "act now", soon: "act today", note: "for the digest" } as const satisfies Record<
  AlarmView["priority"],
  string
>;

/** The alarm's state in the words of ANSI/ISA-18.2, turned to plain ones. */
export function phaseWords(alarm: AlarmView, now: number, zone: string): string {
  const since = `since ${whenWords(alarm.since, now, zone)}`;
  switch (alarm.phase) {
    case "unacknowledged":
      return since;
    case "acknowledged":
      return `${since}, acknowledged`;
    case "returnedUnacknowledged":
      return `over again, began ${whenWords(alarm.since, now, zone)}`;
    case "latchedUnacknowledged":
    case "latchedAcknowledged":
      return `over, but look at it: began ${whenWords(alarm.since, now, zone)}`;
    case "shelved":
      return alarm.shelvedUntil === null ? "shelved" : `shelved until ${whenWords(alarm.shelvedUntil, now, zone)}`;
    case "suppressedByDesign":
      return `${since}; something else explains it`;
    case "outOfService":
      return "out of service";
  }
}

/** How it calls, beside its title. What doesn't call the keeper must not say "act now". */
export function callWords(alarm: AlarmView): string {
  switch (alarm.phase) {
    case "unacknowledged":
    case "acknowledged":
      return priorityWords[alarm.priority];
    case "returnedUnacknowledged":
      return "over";
    case "latchedUnacknowledged":
    case "latchedAcknowledged":
      return "look at it";
    case "shelved":
    case "suppressedByDesign":
    case "outOfService":
      return "kept quiet";
  }
}

export const isSetAside = ({ phase }: AlarmView) =>
  phase === "shelved" || phase === "suppressedByDesign" || phase === "outOfService";

/** Smaller is more urgent: an unacknowledged urgent alarm first, a feeder with nothing to say last. */
export function urgency(feeder: FeederView): number {
  const ranks = feeder.alarms.filter((alarm) => !isSetAside(alarm)).map(rank);
  return Math.min(9, ...ranks);
}
function rank(alarm: AlarmView): number {
  const grave = { urgent: 0, soon: 3, note: 6 }[alarm.priority];
  const phase = {
    unacknowledged: 0,
    latchedUnacknowledged: 1,
    returnedUnacknowledged: 1,
    acknowledged: 2,
    latchedAcknowledged: 2,
    shelved: 9,
    suppressedByDesign: 9,
    outOfService: 9,
  };
  return grave + phase[alarm.phase];
}

export const mostUrgentFirst = (feeders: readonly FeederView[]) =>
  [...feeders].sort((one, other) => urgency(one) - urgency(other) || one.name.localeCompare(other.name));

/** The gravest priority that still waits for the keeper; null where nothing does. */
export function calls(feeder: FeederView): "urgent" | "soon" | null {
  const standing = feeder.alarms.filter((alarm) => !isSetAside(alarm) && alarm.phase !== "returnedUnacknowledged");
  if (standing.some((alarm) => alarm.priority === "urgent")) return "urgent";
  return standing.some((alarm) => alarm.priority === "soon") ? "soon" : null;
}

/**
 * What a screen reader should hear when a feeder changes under the keeper's eyes: alarms that came or went, and what
 * became of a pause. Empty where nothing of that kind changed: a new reading is no news.
 */
export function newsWords(before: FeederView, after: FeederView): string {
  const news: string[] = [];
  const had = new Map(before.alarms.map((alarm) => [alarm.fault, alarm.phase]));
  for (const alarm of after.alarms) {
    if (alarm.phase === "unacknowledged" && had.get(alarm.fault) !== "unacknowledged") {
      news.push(`${sentence(alarm.title)}, ${priorityWords[alarm.priority]}.`);
    }
    if (alarm.phase === "returnedUnacknowledged" && had.get(alarm.fault) !== "returnedUnacknowledged") {
      news.push(`${sentence(alarm.title)} is over.`);
    }
  }
  const stands = new Set(after.alarms.map((alarm) => alarm.fault));
  for (const alarm of before.alarms) {
    if (!stands.has(alarm.fault) && !isSetAside(alarm)) news.push(`${sentence(alarm.title)} is over.`);
  }
  const order = after.pause.order;
  if (order !== null && (order.id !== before.pause.order?.id || order.phase !== before.pause.order.phase)) {
    const phase = order.phase === "overdue" ? "not confirmed in time" : order.phase;
    if (order.phase !== "superseded") news.push(`${order.kind === "pause" ? "Pause" : "Resume"} ${phase}.`);
  }
  return news.length === 0 ? "" : `${after.name}: ${news.join(" ")}`;
}
