import type { Instant } from "../domain/instant.ts";
import type { OutboxSignal } from "../ports.ts";

/** Delivers when rung, and again when the outbox itself says that something comes due. */
export interface OutboxWorker extends OutboxSignal {
  /** @returns stops answering; resolves when the deliveries under way have ended. */
  start(
    deliver: () => Promise<{ readonly nextDueAt: Instant | null }>,
    failed: (error: unknown) => void,
  ): () => Promise<void>;
}

/**
 * A round that waits has an exchange of its own under way, and those are fewer than this: rounds that wait for a push service
 * which hangs never keep the next one from beginning.
 */
const roundsAtOnce = 80;
const soonestAgainMilliseconds = 250;

/** @param now for reckoning how long to wait; the rounds themselves tell time by their own clock. */
export function createOutboxWorker(now: () => number): OutboxWorker {
  let onRing: () => void = () => undefined; // nobody answers before the house is open, or after it is closed
  return {
    notify: () => onRing(),
    start(deliver, failed) {
      const rounds = new Set<Promise<void>>();
      let rungMeanwhile = false;
      let timer: NodeJS.Timeout | undefined;

      const againAt = (at: Instant) => {
        clearTimeout(timer);
        // The minute's tick rings too, so that nothing hangs on this timer alone.
        timer = setTimeout(() => onRing(), Math.min(60_000, Math.max(soonestAgainMilliseconds, at - now())));
        timer.unref();
      };
      const begin = () => {
        rungMeanwhile = false;
        const round = deliver()
          .then(({ nextDueAt }) => {
            if (nextDueAt !== null) againAt(nextDueAt);
          })
          .catch(failed)
          .finally(() => {
            rounds.delete(round);
            if (rungMeanwhile) onRing();
          });
        rounds.add(round);
      };
      onRing = () => {
        if (rounds.size < roundsAtOnce) begin();
        else rungMeanwhile = true;
      };
      return async () => {
        onRing = () => undefined;
        clearTimeout(timer);
        await Promise.all(rounds);
      };
    },
  };
}
