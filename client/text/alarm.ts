import type { AlarmView, FeederView, OrderView } from "../../server/contract/api.ts";
import { capitalize } from "./amount.ts";
import { momentText } from "./clock.ts";

export const priorityText = {
  urgent: "act now",
  soon: "act today",
  note: "note, for the digest",
} as const satisfies Record<AlarmView["priority"], string>;

/** The alarm's state in the words of ANSI/ISA-18.2, turned to plain ones. */
export function alarmStateText(alarm: AlarmView, now: number, zone: string): string {
  const since = `since ${momentText(alarm.since, now, zone)}`;
  switch (alarm.state) {
    case "unacknowledged":
      return since;
    case "acknowledged":
      return `${since}, acknowledged`;
    case "returnedUnacknowledged":
      return `over again, began ${momentText(alarm.since, now, zone)}`;
    case "latchedUnacknowledged":
      return `over, but look at it: began ${momentText(alarm.since, now, zone)}`;
    case "latchedAcknowledged":
      return `over and acknowledged, but nobody has looked yet: began ${momentText(alarm.since, now, zone)}`;
    case "shelved":
      return alarm.shelvedUntil === null ? "shelved" : `shelved until ${momentText(alarm.shelvedUntil, now, zone)}`;
    case "suppressedByDesign":
      return `${since}; ${alarm.explainedBy === null ? "not told of for now" : `explained by “${alarm.explainedBy}”`}`;
    case "outOfService":
      return alarm.outOfService === null
        ? "out of service"
        : `out of service since ${momentText(alarm.outOfService.since, now, zone)}`;
  }
}

/** How it calls, beside its title. What doesn't call the keeper must not say "act now". */
export function alarmBadgeText(alarm: AlarmView): string {
  switch (alarm.state) {
    case "unacknowledged":
    case "acknowledged":
      return priorityText[alarm.priority];
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

/** Its fault is gone; what is left is for somebody to know of it, or to look. */
export const isOver = (alarm: AlarmView) => alarm.state === "returnedUnacknowledged" || isLatched(alarm);

/** Over, but a person must look at the thing itself. */
export const isLatched = ({ state }: AlarmView) => state === "latchedUnacknowledged" || state === "latchedAcknowledged";

/** The alarms that this one stands for: they are listed with it, and nowhere else. */
export const explainedAlarms = (alarm: AlarmView, { alarms }: Pick<FeederView, "alarms">) =>
  alarms.filter((each) => each.state === "suppressedByDesign" && each.explainedBy === alarm.title);

/** "One alarm", "2 alarms and a note", "A note": a note asks for nothing now and is no alarm. */
export function alarmCountText(standing: readonly AlarmView[]): string {
  const notes = standing.filter(({ priority }) => priority === "note").length;
  const alarms = standing.length - notes;
  const alarmWords = alarms === 0 ? "" : alarms === 1 ? "One alarm" : `${alarms} alarms`;
  const noteWords = notes === 0 ? "" : notes === 1 ? "a note" : `${notes} notes`;
  if (alarms > 0 && notes > 0) return `${alarmWords} and ${noteWords}`;
  return standing.length === 0 ? "No alarm stands" : capitalize(alarmWords + noteWords);
}

/** How a feeder's alarms stand on its page: what calls, what is kept quiet, and what waits for a part. */
export function groupAlarms({ alarms }: Pick<FeederView, "alarms">) {
  const listed = alarms.filter((alarm) => !alarms.some((cause) => explainedAlarms(cause, { alarms }).includes(alarm)));
  return {
    standing: listed.filter((alarm) => !isSuppressed(alarm)),
    quiet: listed.filter((alarm) => isSuppressed(alarm) && alarm.state !== "outOfService"),
    outOfService: listed.filter((alarm) => alarm.state === "outOfService"),
  };
}

export const isSuppressed = ({ state }: AlarmView) =>
  state === "shelved" || state === "suppressedByDesign" || state === "outOfService";

/** Smaller is more urgent: an unacknowledged urgent alarm first, a feeder with nothing to say last. */
export function urgencyRank(feeder: FeederView): number {
  const ranks = feeder.alarms.filter((alarm) => !isSuppressed(alarm)).map(alarmRank);
  return Math.min(9, ...ranks);
}
function alarmRank(alarm: AlarmView): number {
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
  return grave + phase[alarm.state];
}

export const sortByUrgency = (feeders: readonly FeederView[]) =>
  [...feeders].sort((one, other) => urgencyRank(one) - urgencyRank(other) || one.name.localeCompare(other.name));

/** The gravest priority that still waits for the keeper; null where nothing does. */
export function highestPriority(feeder: FeederView): "urgent" | "soon" | null {
  const standing = feeder.alarms.filter((alarm) => !isSuppressed(alarm) && !isOver(alarm));
  if (standing.some((alarm) => alarm.priority === "urgent")) return "urgent";
  return standing.some((alarm) => alarm.priority === "soon") ? "soon" : null;
}

/**
 * What a screen reader should hear when a feeder changes under the keeper's eyes: alarms that came or went, and what
 * became of a pause. Empty where nothing of that kind changed: a new reading is no news.
 */
export function changeText(before: FeederView, after: FeederView): string {
  const news: string[] = [];
  const had = new Map(before.alarms.map((alarm) => [alarm.fault, alarm.state]));
  const wasOver = new Set(before.alarms.filter(isOver).map((alarm) => alarm.fault));
  for (const alarm of after.alarms) {
    if (alarm.state === "unacknowledged" && had.get(alarm.fault) !== "unacknowledged") {
      news.push(`${capitalize(alarm.title)}, ${priorityText[alarm.priority]}.`);
    }
    if (isOver(alarm) && !wasOver.has(alarm.fault)) {
      news.push(
        `${capitalize(alarm.title)} is over${alarm.state === "returnedUnacknowledged" ? "" : ", but look at it"}.`,
      );
    }
  }
  const stands = new Set(after.alarms.map((alarm) => alarm.fault));
  for (const alarm of before.alarms) {
    if (!stands.has(alarm.fault) && !isSuppressed(alarm) && !isOver(alarm))
      news.push(`${capitalize(alarm.title)} is over.`);
  }
  const order = after.pause.order;
  if (order !== null && (order.id !== before.pause.order?.id || order.status !== before.pause.order.status)) {
    const phase = orderStateText[order.status];
    if (phase !== null) news.push(`${order.kind === "pause" ? "Pause" : "Resume"} ${phase}.`);
  }
  return news.length === 0 ? "" : `${after.name}: ${news.join(" ")}`;
}

const orderStateText = {
  requested: "asked",
  sent: "sent, not yet confirmed",
  overdue: "not confirmed in time",
  confirmed: "confirmed by the feeder",
  refused: "refused by the feeder",
  contradicted: "not kept by the feeder",
  ended: "is over, its time has ended",
  superseded: null, // the newer one is told of
} as const satisfies Record<OrderView["status"], string | null>;

/** Of what nobody is told while a feeder is elsewhere; null while it is in the garden. */
export function dutyText(duty: FeederView["settings"]["duty"]): string | null {
  switch (duty) {
    case "onBench":
      return "On the bench: nobody is told of its alarms. All is still written down.";
    case "putAway":
      return "Put away for the season: nobody is told of its alarms, but for harm to its battery.";
    case "inGarden":
    case undefined:
      return null;
  }
}
