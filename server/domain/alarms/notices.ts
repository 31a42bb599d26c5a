import type { AlarmChange, Notice } from "../facts.ts";
import { type FaultKind, type FaultRule, type Priority, ruleOf } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import { after, hours, minutes, type Span } from "../instant.ts";
import type { Alarm } from "./alarm.ts";

/** Whose alarm it is. The id makes the topic, the settings the words. */
export interface Teller {
  readonly id: string;
  readonly settings: Pick<FeederSettings, "name" | "practice">;
}

/**
 * How long a push service keeps trying a phone that is off. An urgent word is worth having all night, and stale by the
 * next half day: by then the server has looked again. A `soon` is meant for today, so it lives a day. Our choice.
 */
const timeToLive: Record<Exclude<Priority, "note">, Span> = { urgent: hours(12), soon: hours(24) };

/** A fault that comes back this soon after it went, still unacknowledged, corrects the phone's screen without a sound. */
const sameEpisode = minutes(60);

/**
 * Which arrows of an alarm's life the keeper is told, and how: raised, with sound; returned to normal after it was raised,
 * quietly in place of the first notice. A `note` never leaves the digest. Shelving and suppression are silent, and so is
 * their end where the alarm had been told of before. A raise after "back to normal" that nobody acknowledged is the same
 * episode for an hour: its words must replace the good news, but need not wake anyone twice.
 */
export function noticeOf(teller: Teller, change: AlarmChange, before: Alarm | null): Notice | null {
  if (change.priority === "note") return null;
  const rule = ruleOf(change.fault);
  const common = {
    fault: change.fault,
    priority: change.priority,
    topic: topicOf(teller.id, change.fault),
    timeToLive: timeToLive[change.priority],
  };
  if (isRaise(change, before)) {
    return {
      ...common,
      title: titleOf(teller, rule.title),
      body: bodyOf(change.reason, rule),
      quiet: before?.phase === "returnedUnacknowledged" && change.at < after(before.returnedAt, sameEpisode),
    };
  }
  if (isReturn(change)) {
    return { ...common, title: titleOf(teller, "back to normal"), body: `No longer so: ${rule.title}.`, quiet: true };
  }
  return null;
}

/**
 * The same for the same feeder and fault for ever, so that newer words replace older ones. RFC 8030 section 5.4 allows at
 * most 32 characters of base64url: a 64-bit hash of both, since ids may be longer than that. Two alarms of one house
 * sharing a topic is a matter of 1 in 10^13 even with a thousand feeders (birthday bound, n²/2^65).
 */
export const topicOf = (feeder: string, fault: FaultKind): string => `alarm-${fnv1a64(`${feeder} ${fault}`)}`;

const bodyMax = 400; // longer is cut off on the phone anyway, and the whole push must fit 4 kB

/** News: not the end of a suppression that hid an alarm which was told already. */
export function isRaise(change: AlarmChange, before: Alarm | null): boolean {
  if (change.to !== "unacknowledged") return false;
  return !(before?.phase === "suppressedByDesign" && before.raised !== null); // told already, before the suppression
}

const isReturn = ({ from, to }: AlarmChange): boolean =>
  (from === "unacknowledged" && to === "returnedUnacknowledged") || (from === "acknowledged" && to === "normal");

function titleOf({ settings }: Teller, words: string): string {
  return `${settings.practice ? "Practice – " : ""}${settings.name}: ${words}`;
}

/** What to do about it must not be cut off: the reason gives way. */
function bodyOf(reason: string, { act }: FaultRule): string {
  const room = bodyMax - act.length - 1;
  const said = reason.length <= room ? reason : `${reason.slice(0, room - 1).trimEnd()}…`;
  return `${said} ${act}`;
}

/**
 * FNV-1a, 64 bits, over UTF-8, as 16 hex digits (IETF draft-eastlake-fnv: offset basis 14695981039346656037, prime
 * 1099511628211). For spreading ids, not for secrets.
 */
export function fnv1a64(text: string): string {
  let hash = 0xcbf29ce484222325n;
  for (const octet of new TextEncoder().encode(text)) {
    hash = BigInt.asUintN(64, (hash ^ BigInt(octet)) * 0x100000001b3n);
  }
  return hash.toString(16).padStart(16, "0");
}
