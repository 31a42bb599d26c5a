import * as text from "#text/alarm.ts";
import { orderStateTexts, pauseLabel, resumeLabel } from "#text/order.ts";
import type { AlarmView, FeederView } from "../../server/contract/api.ts";
import { capitalize } from "./amount.ts";

export { priorityText } from "#text/alarm.ts";

/** Its fault has ended; a person only has to acknowledge it, or to check the feeder. */
export const isOver = (alarm: AlarmView) => alarm.state === "returnedUnacknowledged" || isLatched(alarm);

/** Its fault has ended, but a person must check the feeder (ISA-18.2: latched). */
export const isLatched = ({ state }: AlarmView) => state === "latchedUnacknowledged" || state === "latchedAcknowledged";

export const isSuppressed = ({ state }: AlarmView) =>
  state === "shelved" || state === "suppressedByDesign" || state === "outOfService";

/** Smaller is more urgent: an unacknowledged urgent alarm first, a feeder without alarms last. */
export function urgencyRank(feeder: FeederView): number {
  const ranks = feeder.alarms.filter((alarm) => !isSuppressed(alarm)).map(alarmRank);
  return Math.min(9, ...ranks);
}
function alarmRank(alarm: AlarmView): number {
  const priority = { urgent: 0, soon: 3, note: 6 }[alarm.priority];
  const state = {
    unacknowledged: 0,
    latchedUnacknowledged: 1,
    returnedUnacknowledged: 1,
    acknowledged: 2,
    latchedAcknowledged: 2,
    shelved: 9,
    suppressedByDesign: 9,
    outOfService: 9,
  };
  return priority + state[alarm.state];
}

export const sortAlarms = (alarms: readonly AlarmView[]) =>
  [...alarms].sort((one, other) => alarmRank(one) - alarmRank(other));

export const sortByUrgency = (feeders: readonly FeederView[]) =>
  [...feeders].sort(
    (one, other) =>
      urgencyRank(one) - urgencyRank(other) || one.name.localeCompare(other.name, undefined, { numeric: true }),
  );

/** The highest priority that a keeper still has to act on; null where there is none. */
export function highestPriority(feeder: FeederView): "urgent" | "soon" | null {
  const active = feeder.alarms.filter((alarm) => !isSuppressed(alarm) && !isOver(alarm));
  if (active.some((alarm) => alarm.priority === "urgent")) return "urgent";
  return active.some((alarm) => alarm.priority === "soon") ? "soon" : null;
}

/**
 * What a screen reader reads out when a feeder changes on the open page: alarms that came or ended, and the state of a
 * pause. Empty where nothing of that kind changed: a new reading is not read out.
 */
export function changeText(before: FeederView, after: FeederView): string {
  const changes = [...alarmChanges(before.alarms, after.alarms), ...orderChanges(before, after)];
  return changes.length === 0 ? "" : text.changesText(after.name, changes.join(" "));
}

function alarmChanges(before: readonly AlarmView[], after: readonly AlarmView[]): readonly string[] {
  const stateBefore = new Map(before.map((alarm) => [alarm.fault, alarm.state]));
  const wasOver = new Set(before.filter(isOver).map((alarm) => alarm.fault));
  const faults = new Set(after.map((alarm) => alarm.fault));
  const removed = before.filter((alarm) => !faults.has(alarm.fault) && !isSuppressed(alarm) && !isOver(alarm));
  return [
    ...after.flatMap((alarm) => {
      const title = capitalize(alarm.title);
      if (alarm.state === "unacknowledged" && stateBefore.get(alarm.fault) !== "unacknowledged")
        return [text.raisedText(title, text.priorityText[alarm.priority])];
      if (!isOver(alarm) || wasOver.has(alarm.fault)) return [];
      return [isLatched(alarm) ? text.endedCheckText(title) : text.endedText(title)];
    }),
    ...removed.map((alarm) => text.endedText(capitalize(alarm.title))),
  ];
}

function orderChanges({ pause: { order: before } }: FeederView, { pause: { order } }: FeederView): readonly string[] {
  if (order === null || order.status === "superseded") return []; // the newer order is read out
  if (order.id === before?.id && order.status === before.status) return [];
  return [text.orderChangedText(order.kind === "pause" ? pauseLabel : resumeLabel, orderStateTexts[order.status])];
}
