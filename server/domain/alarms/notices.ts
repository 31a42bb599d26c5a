import type { Notice } from "../facts.ts";
import { type FaultKind, ruleOf } from "../faults.ts";
import { hours, type Span } from "../instant.ts";
import type { CallPriority, CallWord } from "../telling/call.ts";

/**
 * How long a push service keeps trying a phone that is off. An urgent word is worth having all night, and stale by the
 * next half day: by then the server has looked again. A `soon` is meant for today, so it lives a day. Our choice.
 */
const timeToLive: Record<CallPriority, Span> = { urgent: hours(12), soon: hours(24) };

/** The word as every phone of the house is told it: raised and worsened with sound, returned in its place without. */
export function noticeOf(feeder: { readonly id: string }, word: CallWord): Notice | null {
  const topic = topicOf(feeder.id, word.fault);
  switch (word.kind) {
    case "raised":
    case "worsened": {
      const { fault, priority, title, body } = word;
      const quiet = word.kind === "raised" && word.sameEpisode;
      return { fault, priority, title, body, topic, timeToLive: timeToLive[priority], quiet };
    }
    case "returned": {
      const { fault, title, body } = word;
      const priority = ruleOf(fault).priority === "urgent" ? "urgent" : "soon";
      return { fault, priority, title, body, topic, timeToLive: timeToLive[priority], quiet: true };
    }
    case "acknowledged":
    case "setAside":
      return null;
  }
}

/**
 * The same for the same feeder and fault for ever, so that newer words replace older ones. RFC 8030 section 5.4 allows at
 * most 32 characters of base64url: a 64-bit hash of both, since ids may be longer than that. Two alarms of one house
 * sharing a topic is a matter of 1 in 10^13 even with a thousand feeders (birthday bound, n²/2^65).
 */
export const topicOf = (feeder: string, fault: FaultKind): string => `alarm-${fnv1a64(`${feeder} ${fault}`)}`;

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
