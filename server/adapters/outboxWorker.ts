import type { Instant } from "../domain/instant.ts";
import type { OutboxSignal } from "../ports.ts";

/** Delivers when notified, and when the next item of the outbox comes due. */
export interface OutboxWorker extends OutboxSignal {
  /** @returns a function that stops it, which resolves when the deliveries that have begun have ended */
  start(
    deliver: () => Promise<{ readonly nextDueAt: Instant | null }>,
    failed: (error: unknown) => void,
  ): () => Promise<void>;
}

/** More than there are deliveries at a time, so that rounds that wait for a hanging push service never prevent the next round. */
const roundsAtOnce = 80;
const soonestAgainMilliseconds = 250;

/** @param now for computing how long to wait; the rounds have their own clock */
export function createOutboxWorker(now: () => number): OutboxWorker {
  let onNotify: () => void = () => undefined; // before the start and after the end nothing is delivered
  return {
    notify: () => onNotify(),
    start(deliver, failed) {
      const rounds = new Set<Promise<void>>();
      let notifiedMeanwhile = false;
      let timer: NodeJS.Timeout | undefined;

      const scheduleRound = (at: Instant) => {
        clearTimeout(timer);
        // A tick each minute notifies too, so that nothing depends on this timer alone.
        timer = setTimeout(() => onNotify(), Math.min(60_000, Math.max(soonestAgainMilliseconds, at - now())));
        timer.unref();
      };
      const begin = () => {
        notifiedMeanwhile = false;
        const round = deliver()
          .then(({ nextDueAt }) => {
            if (nextDueAt !== null) scheduleRound(nextDueAt);
          })
          .catch(failed)
          .finally(() => {
            rounds.delete(round);
            if (notifiedMeanwhile) onNotify();
          });
        rounds.add(round);
      };
      onNotify = () => {
        if (rounds.size < roundsAtOnce) begin();
        else notifiedMeanwhile = true;
      };
      return async () => {
        onNotify = () => undefined;
        clearTimeout(timer);
        await Promise.all(rounds);
      };
    },
  };
}
