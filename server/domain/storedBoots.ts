import type { EventSequence } from "./eventSequence.ts";
import type { FeederClock } from "./feederClock.ts";
import type { Instant, Span } from "./instant.ts";

/** What the stored record says of one boot, for when the state has forgotten it: the state holds only the newest ones. */
export interface StoredBoot {
  readonly boot: string; // with its life
  readonly highestSeq: number; // the highest stored seq
  /** By the report that brought that event; null where it didn't say its uptime. */
  readonly anchor: { readonly receivedAt: Instant; readonly uptime: Span } | null;
}

interface KnownBoots {
  readonly clock: FeederClock;
  readonly eventSequence: EventSequence;
}

/** What is remembered, with what is stored of these boots beside it. What is remembered counts for more, and stays the newest. */
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
