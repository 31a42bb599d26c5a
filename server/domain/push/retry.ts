import { texts } from "../../text/index.ts";
import { after, earlier, type Instant, later, milliseconds, minutes, type Span, seconds } from "../instant.ts";
import type { PushOutcome, Settlement } from "./outcome.ts";
import { expiryOf } from "./pushOptions.ts";

/** Waits between attempts; common practice, no source. */
const retryFirst = seconds(15);
const retryMax = minutes(30);
/**
 * The longest wait that a service may ask for. A longer `Retry-After` is more often a wrong clock than a need of the service, and
 * one attempt an hour is no burden to it.
 */
const retryAfterMax = minutes(60);

export interface Attempt {
  readonly attempts: number; // attempts before this one, 0 for the first
  readonly writtenAt: Instant;
  readonly timeToLive: Span;
  readonly jitter: number; // 0..1, so that phones that failed together are not retried together
}

/** What happens to a notification after one attempt. */
export function settlementOf(
  outcome: PushOutcome,
  { attempts, writtenAt, timeToLive, jitter }: Attempt,
  now: Instant,
): Settlement {
  switch (outcome.kind) {
    case "accepted":
      return { kind: "delivered", at: now };
    case "subscriptionGone":
      return { kind: "phoneGone", at: now, problem: outcome.text };
    case "refused": // an error of ours or of the phone's: the same request would be refused again
      return { kind: "givenUp", at: now, problem: outcome.text };
    case "tryLater": {
      const notBefore = nextAttempt(outcome.notBefore, attempts, now, jitter);
      const arrival = outcome.mayHaveArrived ? { mayHaveArrived: true as const } : {};
      if (notBefore > expiryOf(writtenAt, timeToLive)) {
        const problem = texts.reachability.timeEnded(outcome.text);
        return { kind: "givenUp", at: now, problem, ...arrival };
      }
      return { kind: "retry", notBefore, problem: outcome.text, ...arrival };
    }
  }
}

/** Our own wait doubles from 15 s to 30 min; the service's `Retry-After` counts where it is longer. */
function nextAttempt(notBefore: Instant | null, attempts: number, now: Instant, jitter: number): Instant {
  const wait = Math.min(retryMax, retryFirst * 2 ** Math.min(attempts, 16));
  const ours = after(now, milliseconds(Math.round(wait * (0.5 + jitter / 2))));
  if (notBefore === null) return ours;
  // Spread after that moment, never before it.
  const theirs = after(earlier(notBefore, after(now, retryAfterMax)), milliseconds(Math.round(jitter * retryFirst)));
  return later(ours, theirs);
}

/**
 * `Retry-After` as a moment: RFC 9110 section 10.2.3 allows whole seconds or an HTTP date. Null where it is neither.
 */
export function retryAfter(header: string | undefined, now: Instant): Instant | null {
  const text = header?.trim() ?? "";
  // More than nine digits would be thirty years.
  if (/^\d{1,9}$/.test(text)) return after(now, seconds(Number(text)));
  if (!httpDate.test(text)) return null;
  const at = Date.parse(text);
  return Number.isNaN(at) ? null : (at as Instant);
}

/** IMF-fixdate, the one form that may still be sent (RFC 9110 section 5.6.7): `Sun, 06 Nov 1994 08:49:37 GMT`. */
const httpDate = /^[A-Z][a-z]{2}, \d{2} [A-Z][a-z]{2} \d{4} \d{2}:\d{2}:\d{2} GMT$/;
