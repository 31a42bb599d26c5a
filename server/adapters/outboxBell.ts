import type { Instant } from "../domain/instant.ts";
import type { OutboxBell } from "../ports.ts";

/** Delivers when rung, and again when the outbox itself says that something comes due. */
export interface AnsweredBell extends OutboxBell {
  /** @returns stops answering; resolves when the delivery under way has ended. */
  answer(
    deliver: () => Promise<{ readonly nextDueAt: Instant | null }>,
    failed: (error: unknown) => void,
  ): () => Promise<void>;
}

const soonestAgainMilliseconds = 250;

export function outboxBell(): AnsweredBell {
  let onRing: () => void = () => undefined; // nobody answers before the house is open, or after it is closed
  return {
    ring: () => onRing(),
    answer(deliver, failed) {
      let running: Promise<void> | null = null;
      let rungMeanwhile = false;
      let timer: NodeJS.Timeout | undefined;

      const run = async () => {
        do {
          rungMeanwhile = false;
          const { nextDueAt } = await deliver();
          if (nextDueAt !== null) againAt(nextDueAt);
        } while (rungMeanwhile);
      };
      const againAt = (at: Instant) => {
        clearTimeout(timer);
        // setTimeout takes at most 2^31 ms; the minute's ring looks again long before.
        timer = setTimeout(onRing, Math.min(60_000, Math.max(soonestAgainMilliseconds, at - Date.now())));
        timer.unref();
      };
      onRing = () => {
        if (running) {
          rungMeanwhile = true;
          return;
        }
        running = run()
          .catch(failed)
          .finally(() => {
            running = null;
          });
      };
      return async () => {
        onRing = () => undefined;
        clearTimeout(timer);
        await running;
      };
    },
  };
}
