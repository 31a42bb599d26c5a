import type { EventSequence } from "./eventSequence.ts";
import type { FeederClock } from "./feederClock.ts";
import type { Instant, Span } from "./instant.ts";

/** What the log has stored of one boot that is no longer in the state: the state holds only the newest ones. */
export interface StoredBoot {
  readonly boot: string; // with its number
  readonly highestSeq: number; // the highest stored seq
  /** By the report that brought that event; null where its uptime is missing. */
  readonly anchor: { readonly receivedAt: Instant; readonly uptime: Span } | null;
}

interface KnownBoots {
  readonly clock: FeederClock;
  readonly eventSequence: EventSequence;
}

/** The boots in the state with the stored ones added. Those in the state take precedence and stay the newest. */
export function mergeStoredBoots({ clock, eventSequence }: KnownBoots, stored: readonly StoredBoot[]): KnownBoots {
  if (stored.length === 0) return { clock, eventSequence };
  const anchors = stored.flatMap(({ boot, anchor }) => (anchor === null ? [] : [{ boot, ...anchor }]));
  const sequences = stored.map(({ boot, highestSeq }) => ({ boot, highestSeq, missingCount: 0 }));
  return {
    clock: { ...clock, boots: [...withoutKnown(anchors, clock.boots), ...clock.boots] },
    eventSequence: { boots: [...withoutKnown(sequences, eventSequence.boots), ...eventSequence.boots] },
  };
}

const withoutKnown = <Boot extends { readonly boot: string }>(
  boots: readonly Boot[],
  known: readonly { readonly boot: string }[],
): readonly Boot[] => boots.filter(({ boot }) => !known.some((other) => other.boot === boot));
