import { isRaise } from "../../domain/alarms/alarmEvents.ts";
import type { AlarmChange } from "../../domain/alarms/alarmStates.ts";
import type { FaultKind } from "../../domain/faults.ts";
import type { Instant } from "../../domain/instant.ts";
import type { AlarmEvent } from "../../domain/notification/escalation.ts";
import { texts } from "../../text/index.ts";

/**
 * An alarm of priority urgent or soon is never lost without a trace: it has an item in the outbox, or its escalation waits (quiet
 * hours, nobody reachable, a silence not yet confirmed), or the change that ended it says in the log, and so in the digest, that
 * nobody was notified. Nothing is sent about it afterwards: to learn that something unknown is over would only worry.
 */
export const unnotifiedText = texts.notification.endedUnnotified;

/** An alarm event that ended an escalation before anybody was notified. */
export interface UnnotifiedEnd {
  readonly fault: FaultKind;
  readonly at: Instant;
}

/** @param ended the escalations that the events of these changes ended before anybody was notified */
export function markUnnotified(
  changes: readonly AlarmChange[],
  events: readonly AlarmEvent[],
  ended: readonly UnnotifiedEnd[],
): readonly AlarmChange[] {
  return changes.map((change, index) =>
    ended.some(({ fault, at }) => endsHere(change, fault, at)) || isUnnotifiedEnd(changes, index, events)
      ? { ...change, reason: `${change.reason} ${unnotifiedText}`.trim() }
      : change,
  );
}

const activeStates: ReadonlySet<AlarmChange["to"]> = new Set<AlarmChange["to"]>([
  "unacknowledged",
  "latchedUnacknowledged",
]);

const endsHere = (change: AlarmChange, fault: FaultKind, at: Instant): boolean =>
  change.fault === fault && change.at === at && change.from !== change.to && !activeStates.has(change.to);

/** Raised and over within one check: there is no event of the raise, since the alarm was over when the check ended. */
function isUnnotifiedEnd(changes: readonly AlarmChange[], index: number, events: readonly AlarmEvent[]): boolean {
  const [before, change] = [changes[index - 1], changes[index]];
  if (!before || !change || before.fault !== change.fault || before.at !== change.at) return false;
  if (before.priority === "note" || !isRaise(before, null) || !endsHere(change, before.fault, before.at)) return false;
  return !events.some(({ kind, fault, at }) => kind === "raised" && fault === before.fault && at === before.at);
}
