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
 * What the weather does to one feeder of a yard it does to the others in the same night. The first one's call speaks for them:
 * it names them as they join, without a sound, and when its own alarm is over the next one goes on in its place. Ten feeders
 * would else ring ten times within minutes, for one walk with one torch.
 */

/** One night, from dusk to the morning after: what comes later is another night's. Our choice. */
const sameNightWithin = hours(18);

/** How often a call that another speaks for looks whether that one is still there: its feeder may have been removed. */
export const nextCheckFrom = (now: Instant): Instant => after(now, hours(6));

export function handleIceEvent(group: Group, said: FeederEventInGroup, circle: Recipients, now: Instant): Group {
  const { id, escalation } = said.feeder;
  const heard = applyToOwnEscalation(group, said, circle, now);
  const isOver = !isActive(escalationOf(heard, topicOfFeeder(group.yard, id)));
  return joinGroup(isOver && escalation !== null ? leaveGroup(heard, escalation) : heard, id);
}

/** Whose speaker is gone rings by itself, or is spoken for by another. */
export function regroupIce(group: Group): Group {
  return group.yard.feeders.reduce((next, { id, escalation }) => {
    const speaker = escalation?.groupedUnder ?? null;
    if (escalation === null || speaker === null || isActive(escalationOf(next, speaker))) return next;
    return joinGroup(withFeederEscalation(next, id, { ...escalation, groupedUnder: null }), id);
  }, group);
}

const feederOfTopic = ({ yard }: Group, topic: string): GroupedFeeder | undefined =>
  yard.feeders.find(({ id }) => topicOfFeeder(yard, id) === topic);

const escalationOf = (group: Group, topic: string): Escalation | null =>
  feederOfTopic(group, topic)?.escalation ?? null;

function setEscalation(group: Group, call: Escalation): Group {
  const feeder = feederOfTopic(group, call.topic);
  return feeder === undefined ? group : withFeederEscalation(group, feeder.id, call);
}

/** The longest standing first. */
const activeEscalations = ({ yard }: Group): Escalation[] =>
  yard.feeders
    .flatMap(({ escalation }) => (isActive(escalation) ? [escalation] : []))
    .sort((a, b) => a.raisedAt - b.raisedAt);

/** What has not rung yet is told by the one that has, or that is about to. */
function joinGroup(group: Group, id: string): Group {
  const call = escalationOf(group, topicOfFeeder(group.yard, id));
  const isOpen = isActive(call) && call.acknowledgedBy === null && call.groupedUnder === null;
  if (!isOpen || call.priority === "urgent" || call.recipientStates.length > 0 || call.alsoFeeders.length > 0)
    return group;
  const speaker = activeEscalations(group).find((other) => other.topic !== call.topic && mayLead(other, call));
  if (speaker === undefined) return group;
  const named = {
    ...speaker,
    alsoFeeders: [...speaker.alsoFeeders.filter((name) => name !== call.subjectName), call.subjectName],
  };
  const next = setEscalation(setEscalation(group, { ...call, groupedUnder: speaker.topic }), named);
  return named.acknowledgedBy === null ? withChangedTopic(next, named.topic) : next; // whoever has seen it knows of the night
}

const mayLead = (speaker: Escalation, { raisedAt }: Escalation): boolean =>
  speaker.groupedUnder === null && raisedAt <= after(speaker.raisedAt, sameNightWithin);

/** A call has ended: who is spoken for by it must not fall silent with it. */
function leaveGroup(group: Group, ended: Escalation): Group {
  const speaker = ended.groupedUnder === null ? null : escalationOf(group, ended.groupedUnder);
  const without =
    speaker === null
      ? group
      : setEscalation(group, {
          ...speaker,
          alsoFeeders: speaker.alsoFeeders.filter((name) => name !== ended.subjectName),
        });
  const [next, ...rest] = activeEscalations(without).filter(
    ({ groupedUnder, acknowledgedBy }) => groupedUnder === ended.topic && acknowledgedBy === null,
  );
  if (next === undefined) return without;
  const { level, levelAt, recipientStates, acknowledgedBy } = ended;
  const freshAt = recipientStates.length === 0 ? next.renewedAt : ended.renewedAt; // what has rung needs no ring of its own
  const heir: Escalation = {
    ...next,
    ...{ level, levelAt, recipientStates, acknowledgedBy, renewedAt: freshAt, groupedUnder: null },
    alsoFeeders: rest.map(({ subjectName }) => subjectName),
  };
  const handed = rest.reduce(
    (all, one) => setEscalation(all, { ...one, groupedUnder: heir.topic }),
    setEscalation(without, heir),
  );
  return acknowledgedBy === null ? withChangedTopic(handed, heir.topic) : handed;
}
