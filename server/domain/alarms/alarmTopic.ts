import type { FaultKind } from "../faults.ts";

/**
 * Always the same for one feeder and fault, so that a newer notification replaces an older one. RFC 8030 section 5.4 allows at
 * most 32 characters of base64url: a 64-bit hash of both, since ids may be longer than that. Two alarms of one server
 * share a topic with probability 1 in 10^13 even with a thousand feeders (birthday bound, n²/2^65).
 */
export const alarmTopic = (feeder: string, fault: FaultKind): string => `alarm-${fnv1a64(`${feeder} ${fault}`)}`;

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
