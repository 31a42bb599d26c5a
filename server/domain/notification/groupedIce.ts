import { after, hours, type Instant } from "../instant.ts";
import { isActive } from "./advanceEscalation.ts";
import {
  applyToOwnEscalation,
  type FeederEventInGroup,
  type Group,
  type GroupedFeeder,
  topicOfFeeder,
  withChangedTopic,
  withFeederEscalation,
} from "./alarmGroup.ts";
import type { Escalation, Recipients } from "./escalation.ts";

/**
 * Ice affects the feeders of a yard in the same night. The first one's escalation covers the others: it names them as they join,
 * without a sound, and when its own alarm has ended the next one takes its place. Else ten feeders would notify ten times within
 * minutes, for one visit.
 */

/** One night, from dusk to the next morning. Our choice. */
const sameNightWithin = hours(18);

/** How often a covered escalation checks that the leading one still exists: its feeder may have been removed. */
export const nextCheckFrom = (now: Instant): Instant => after(now, hours(6));

export function handleIceEvent(
  group: Group,
  feederEvent: FeederEventInGroup,
  recipients: Recipients,
  now: Instant,
): Group {
  const { id, escalation } = feederEvent.feeder;
  const next = applyToOwnEscalation(group, feederEvent, recipients, now);
  const isOver = !isActive(escalationOf(next, topicOfFeeder(group.yard, id)));
  return joinGroup(isOver && escalation !== null ? leaveGroup(next, escalation) : next, id);
}

/** An escalation whose leading one is gone notifies by itself, or joins another one. */
export function regroupIce(group: Group): Group {
  return group.yard.feeders.reduce((next, { id, escalation }) => {
    const leading = escalation?.groupedUnder ?? null;
    if (escalation === null || leading === null || isActive(escalationOf(next, leading))) return next;
    return joinGroup(withFeederEscalation(next, id, { ...escalation, groupedUnder: null }), id);
  }, group);
}

const feederOfTopic = ({ yard }: Group, topic: string): GroupedFeeder | undefined =>
  yard.feeders.find(({ id }) => topicOfFeeder(yard, id) === topic);

const escalationOf = (group: Group, topic: string): Escalation | null =>
  feederOfTopic(group, topic)?.escalation ?? null;

function setEscalation(group: Group, escalation: Escalation): Group {
  const feeder = feederOfTopic(group, escalation.topic);
  return feeder === undefined ? group : withFeederEscalation(group, feeder.id, escalation);
}

/** The oldest first. */
const activeEscalations = ({ yard }: Group): Escalation[] =>
  yard.feeders
    .flatMap(({ escalation }) => (isActive(escalation) ? [escalation] : []))
    .sort((a, b) => a.raisedAt - b.raisedAt);

/** An escalation that has not notified yet joins the one that has, or that is about to. */
function joinGroup(group: Group, id: string): Group {
  const escalation = escalationOf(group, topicOfFeeder(group.yard, id));
  const isOpen = isActive(escalation) && escalation.acknowledgedBy === null && escalation.groupedUnder === null;
  if (
    !isOpen ||
    escalation.priority === "urgent" ||
    escalation.recipientStates.length > 0 ||
    escalation.alsoFeeders.length > 0
  )
    return group;
  const leading = activeEscalations(group).find(
    (other) => other.topic !== escalation.topic && mayLead(other, escalation),
  );
  if (leading === undefined) return group;
  const named = {
    ...leading,
    alsoFeeders: [...leading.alsoFeeders.filter((name) => name !== escalation.subjectName), escalation.subjectName],
  };
  const next = setEscalation(setEscalation(group, { ...escalation, groupedUnder: leading.topic }), named);
  return named.acknowledgedBy === null ? withChangedTopic(next, named.topic) : next; // whoever acknowledged it knows of the night
}

const mayLead = (leading: Escalation, { raisedAt }: Escalation): boolean =>
  leading.groupedUnder === null && raisedAt <= after(leading.raisedAt, sameNightWithin);

/** An escalation has ended: those that it covers continue under the next one. */
function leaveGroup(group: Group, ended: Escalation): Group {
  const leading = ended.groupedUnder === null ? null : escalationOf(group, ended.groupedUnder);
  const without =
    leading === null
      ? group
      : setEscalation(group, {
          ...leading,
          alsoFeeders: leading.alsoFeeders.filter((name) => name !== ended.subjectName),
        });
  const [next, ...rest] = activeEscalations(without).filter(
    ({ groupedUnder, acknowledgedBy }) => groupedUnder === ended.topic && acknowledgedBy === null,
  );
  if (next === undefined) return without;
  const { level, levelAt, recipientStates, acknowledgedBy } = ended;
  const freshAt = recipientStates.length === 0 ? next.renewedAt : ended.renewedAt; // what was notified needs no second notification
  const successor: Escalation = {
    ...next,
    ...{ level, levelAt, recipientStates, acknowledgedBy, renewedAt: freshAt, groupedUnder: null },
    alsoFeeders: rest.map(({ subjectName }) => subjectName),
  };
  const moved = rest.reduce(
    (all, one) => setEscalation(all, { ...one, groupedUnder: successor.topic }),
    setEscalation(without, successor),
  );
  return acknowledgedBy === null ? withChangedTopic(moved, successor.topic) : moved;
}
