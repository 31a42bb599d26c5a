import type { Instant } from "../instant.ts";
import type { Call, Person, Telling, ToldPerson } from "./call.ts";

/** Whether what was sent to a person can have reached them, and by what it can reach them from now on. */

/** The end of the last delivery of a notice to one person. */
export interface Loss {
  readonly person: string;
  readonly by: Telling["by"];
  /** When the newest notice of this call was written that they have by the same channel, or may yet get; null: there is none. */
  readonly aliveFrom: Instant | null;
}

/** Every phone refused the last push for good or is gone, or the mail server refused the letter: it counts as not told. */
export function lostBy(call: Call, { person, by, aliveFrom }: Loss, at: Instant): Call {
  if (call.overAt !== null || call.acknowledgedBy !== null) return call;
  const told = call.told.find((one) => one.person === person);
  const sentAt = by === "push" ? told?.pushedAt : told?.mailedAt;
  if (told === undefined || sentAt === undefined || sentAt === null) return call;
  if (aliveFrom !== null && aliveFrom >= sentAt) return call;
  const lost: ToldPerson = by === "push" ? { ...told, pushLostAt: at } : { ...told, mailLostAt: at };
  return { ...call, told: call.told.map((one) => (one === told ? lost : one)) };
}

export const isPushLost = ({ pushLostAt }: ToldPerson): boolean => (pushLostAt ?? null) !== null;
const isMailLost = ({ mailLostAt }: ToldPerson): boolean => (mailLostAt ?? null) !== null;

/** All that was sent to them is known to have reached nothing. */
export function isLost({ freshAt }: Pick<Call, "freshAt">, told: ToldPerson): boolean {
  if (!isPushLost(told) && !isMailLost(told)) return false;
  const mayHavePush = told.pushedAt !== null && !isPushLost(told);
  const mayHaveMail = told.mailedAt !== null && !isMailLost(told);
  return !mayHavePush && !mayHaveMail && !isSince(told.shownAt, freshAt);
}

/** A phone was added, renewed or allowed again since the last push, and no phone of theirs has shown this alarm. */
export function hasNewPhone({ freshAt }: Call, person: Person, told: ToldPerson, now: Instant): boolean {
  const since = person.phonesSince ?? null;
  // One from the future comes from a clock that was set back: it must not ring again at each look.
  if (person.phones === 0 || since === null || since > now || isSince(told.shownAt, freshAt)) return false;
  return told.pushedAt === null || since > told.pushedAt;
}

/** Their address is newer than the letter that was sent. */
export function hasNewAddress({ mailSince = null }: Person, { mailedAt }: ToldPerson, now: Instant): boolean {
  return mailedAt !== null && mailSince !== null && mailSince > mailedAt && mailSince <= now;
}

export const isSince = (at: Instant | null, start: Instant): boolean => at !== null && at >= start;
