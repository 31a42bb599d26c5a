import type { SentOrder } from "../contract/report.ts";
import { type Instant, instantOf, type Span } from "../domain/instant.ts";
import type { Written } from "./spool.ts";

/**
 * How a feeder obeys. The newest order wins, a repeat changes nothing, and what it was last told holds through a power cut:
 * this whole value lies on its disk.
 */
export interface Obedience {
  readonly held: { readonly order: string; readonly until: Instant | null } | null; // null while it may feed
  /** Orders that were dealt with, the newest last: a repeat, or an old one that comes late, is known by its id. */
  readonly known: readonly string[];
}

export const freeToFeed: Obedience = { held: null, known: [] };

const knownMax = 16;

/** @returns the new state, and what to write down as proof. Orders stand oldest first; only the last new one counts. */
export function obey(
  before: Obedience,
  orders: readonly SentOrder[],
  serverTime: Instant,
): { readonly obedience: Obedience; readonly said: readonly Written[] } {
  const fresh = orders.filter((order) => !before.known.includes(order.id));
  const newest = fresh.at(-1);
  if (!newest) return { obedience: before, said: [] };

  const known = [...before.known, ...fresh.map((order) => order.id)].slice(-knownMax);
  const until = newest.until === null ? null : instantOf(newest.until);
  switch (newest.kind) {
    case "resume":
      return { obedience: { held: null, known }, said: [done(newest.id)] };
    case "pause":
      // The newest wins even so: an older pause must not outlive the one that replaced it.
      if (until !== null && until <= serverTime) {
        return {
          obedience: { held: null, known },
          said: [refused(newest.id, "The pause had ended before it arrived.")],
        };
      }
      return { obedience: { held: { order: newest.id, until }, known }, said: [done(newest.id)] };
  }
}

/** A pause with an end is over at that end. Without knowing the time a feeder stays paused: that is the safe side. */
export const heldNow = (obedience: Obedience, serverTime: Instant | null): Obedience =>
  obedience.held !== null && obedience.held.until !== null && serverTime !== null && serverTime >= obedience.held.until
    ? { ...obedience, held: null }
    : obedience;

/** When, by the feeder's own reckoning, a pause ends by itself; null where it doesn't or can't be known. */
export const wakeAfter = (obedience: Obedience, serverAhead: Span | null): Instant | null =>
  obedience.held?.until == null || serverAhead === null ? null : ((obedience.held.until - serverAhead) as Instant);

const done = (order: string): Written => ({ kind: "order", order, outcome: "done", problem: null });
const refused = (order: string, problem: string): Written => ({ kind: "order", order, outcome: "refused", problem });
