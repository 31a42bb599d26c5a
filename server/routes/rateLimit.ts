import { minutes } from "../domain/instant.ts";
import type { Clock } from "../ports.ts";

/** Counts by key in each minute of the clock. */
export interface RateLimit {
  /** Counts one more. @returns the seconds until the next minute where it is one too many, else null */
  countOne(key: string): number | null;
  /** The same question without counting: whether no more is allowed. */
  isFull(key: string): boolean;
}

/** Far more keys than a yard has senders. Those beyond share one count, so that new keys are no way around the limit. */
const keysMax = 10_000;

export function createRateLimit(most: number, clock: Clock): RateLimit {
  let minute = 0;
  const counts = new Map<string, number>();

  function current(): void {
    const now = Math.floor(clock.now() / minutes(1));
    if (now === minute) return;
    minute = now;
    counts.clear();
  }
  const countedKey = (key: string) => (counts.has(key) || counts.size < keysMax ? key : "");

  return {
    countOne(key) {
      current();
      const name = countedKey(key);
      const count = (counts.get(name) ?? 0) + 1;
      counts.set(name, count);
      return count <= most ? null : Math.max(1, Math.ceil(((minute + 1) * minutes(1) - clock.now()) / 1_000));
    },
    isFull(key) {
      current();
      return (counts.get(countedKey(key)) ?? 0) >= most;
    },
  };
}
