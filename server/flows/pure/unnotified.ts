import { isRaise } from "../../domain/alarms/alarmEvents.ts";
import type { AlarmChange } from "../../domain/alarms/alarmStates.ts";
import type { FaultKind } from "../../domain/faults.ts";
import type { Instant } from "../../domain/instant.ts";
import type { AlarmEvent } from "../../domain/notification/escalation.ts";
import { texts } from "../../text/index.ts";

/**
 * The rule for a raise of what calls people (not a `note`) of which nobody was notified: it has an item in the outbox, or its
 * call waits (quiet hours, nobody reachable, a silence that is held), or the change that ended it says in the record, and so
 * to the digest, that nobody was notified. Nothing is sent about it afterwards: good news of something that nobody knew of
 * would only worry.
 */
export const unnotifiedText = texts.notification.endedUnnotified;

/** A word that ended a call before anybody was told. */
export interface UnnotifiedEnd {
  readonly fault: FaultKind;
  readonly at: Instant;
}

/** @param ended what the words of the same changes ended before anybody was told */
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

const endsHere = ({ fault: of, at: moment, from, to }: AlarmChange, fault: FaultKind, at: Instant): boolean =>
  of === fault && moment === at && from !== to && !activeStates.has(to);

/** Raised and over within one look: the raise had no word of its own, since it was over when the look ended. */
function isUnnotifiedEnd(changes: readonly AlarmChange[], index: number, events: readonly AlarmEvent[]): boolean {
  const [before, change] = [changes[index - 1], changes[index]];
  if (!before || !change || before.fault !== change.fault || before.at !== change.at) return false;
  if (before.priority === "note" || !isRaise(before, null) || !endsHere(change, before.fault, before.at)) return false;
  return !events.some(({ kind, fault, at }) => kind === "raised" && fault === before.fault && at === before.at);
}
