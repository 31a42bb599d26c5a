import { after, hours, type Instant } from "../instant.ts";
import { isActive } from "../notification/advanceEscalation.ts";
import type { Escalation, Recipients } from "../notification/escalation.ts";
import { type FeederWord, type Group, type GroupedFeeder, hearAlone, topicIn, withNewWords, withOwn } from "./group.ts";

/**
 * What the weather does to one feeder of a yard it does to the others in the same night. The first one's call speaks for them:
 * it names them as they join, without a sound, and when its own alarm is over the next one goes on in its place. Ten feeders
 * would else ring ten times within minutes, for one walk with one torch.
 */

/** One night, from dusk to the morning after: what comes later is another night's. Our choice. */
const sameNightWithin = hours(18);

/** How often a call that another speaks for looks whether that one is still there: its feeder may have been removed. */
export const lookAgainFrom = (now: Instant): Instant => after(now, hours(6));

export function hearInNight(group: Group, said: FeederWord, circle: Recipients, now: Instant): Group {
  const { id, call: before } = said.feeder;
  const heard = hearAlone(group, said, circle, now);
  const isOver = !isActive(callOf(heard, topicIn(group.yard, id)));
  return joined(isOver && before !== null ? left(heard, before) : heard, id);
}

/** Whose speaker is gone rings by itself, or is spoken for by another. */
export function settleNight(group: Group): Group {
  return group.yard.feeders.reduce((next, { id, call }) => {
    const speaker = call?.groupedUnder ?? null;
    if (call === null || speaker === null || isActive(callOf(next, speaker))) return next;
    return joined(withOwn(next, id, { ...call, groupedUnder: null }), id);
  }, group);
}

const withTopic = ({ yard }: Group, topic: string): GroupedFeeder | undefined =>
  yard.feeders.find(({ id }) => topicIn(yard, id) === topic);

const callOf = (group: Group, topic: string): Escalation | null => withTopic(group, topic)?.call ?? null;

function put(group: Group, call: Escalation): Group {
  const feeder = withTopic(group, call.topic);
  return feeder === undefined ? group : withOwn(group, feeder.id, call);
}

/** The longest standing first. */
const standing = ({ yard }: Group): Escalation[] =>
  yard.feeders.flatMap(({ call }) => (isActive(call) ? [call] : [])).sort((a, b) => a.raisedAt - b.raisedAt);

/** What has not rung yet is told by the one that has, or that is about to. */
function joined(group: Group, id: string): Group {
  const call = callOf(group, topicIn(group.yard, id));
  const isOpen = isActive(call) && call.acknowledgedBy === null && call.groupedUnder === null;
  if (!isOpen || call.priority === "urgent" || call.recipientStates.length > 0 || call.alsoFeeders.length > 0)
    return group;
  const speaker = standing(group).find((other) => other.topic !== call.topic && mayLead(other, call));
  if (speaker === undefined) return group;
  const named = {
    ...speaker,
    alsoFeeders: [...speaker.alsoFeeders.filter((name) => name !== call.subjectName), call.subjectName],
  };
  const next = put(put(group, { ...call, groupedUnder: speaker.topic }), named);
  return named.acknowledgedBy === null ? withNewWords(next, named.topic) : next; // whoever has seen it knows of the night
}

const mayLead = (speaker: Escalation, { raisedAt }: Escalation): boolean =>
  speaker.groupedUnder === null && raisedAt <= after(speaker.raisedAt, sameNightWithin);

/** A call has ended: who is spoken for by it must not fall silent with it. */
function left(group: Group, ended: Escalation): Group {
  const speaker = ended.groupedUnder === null ? null : callOf(group, ended.groupedUnder);
  const without =
    speaker === null
      ? group
      : put(group, { ...speaker, alsoFeeders: speaker.alsoFeeders.filter((name) => name !== ended.subjectName) });
  const [next, ...rest] = standing(without).filter(
    ({ groupedUnder: spokenForBy, acknowledgedBy }) => spokenForBy === ended.topic && acknowledgedBy === null,
  );
  if (next === undefined) return without;
  const { level: turn, levelAt: turnAt, recipientStates: told, acknowledgedBy } = ended;
  const freshAt = told.length === 0 ? next.renewedAt : ended.renewedAt; // what has rung needs no ring of its own
  const heir: Escalation = {
    ...next,
    ...{ level: turn, levelAt: turnAt, recipientStates: told, acknowledgedBy, renewedAt: freshAt, groupedUnder: null },
    alsoFeeders: rest.map(({ subjectName: name }) => name),
  };
  const handed = rest.reduce((all, one) => put(all, { ...one, groupedUnder: heir.topic }), put(without, heir));
  return acknowledgedBy === null ? withNewWords(handed, heir.topic) : handed;
}
