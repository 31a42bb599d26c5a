import { after, earlier, type Instant, later, milliseconds, minutes, type Span, seconds } from "../instant.ts";
import type { PushOutcome, Settlement } from "./outcome.ts";
import { expiryOf } from "./pushOptions.ts";

/** Waits between attempts; common practice, no source. */
const retryFirst = seconds(15);
const retryMax = minutes(30);
/**
 * The longest that a service may put us off. A farther `Retry-After` comes from a clock gone wrong more often than from
 * a service in need, and one knock an hour is no burden to it.
 */
const retryAfterMax = minutes(60);

export interface Attempt {
  readonly attempts: number; // deliveries begun before this one, 0 for the first
  readonly writtenAt: Instant;
  readonly timeToLive: Span;
  readonly jitter: number; // 0..1, so that phones that failed together don't all come back together
}

/**
 * What becomes of a notice after one attempt.
 */
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
    case "refused": // our fault or the phone's: the same words again would be refused again
      return { kind: "givenUp", at: now, problem: outcome.text };
    case "tryLater": {
      const notBefore = nextAttempt(outcome.notBefore, attempts, now, jitter);
      const doubt = outcome.mayHaveArrived ? { mayHaveArrived: true as const } : {};
      if (notBefore > expiryOf(writtenAt, timeToLive)) {
        const problem = `${outcome.text}; its time ended before it could be tried again`;
        return { kind: "givenUp", at: now, problem, ...doubt };
      }
      return { kind: "retry", notBefore, problem: outcome.text, ...doubt };
    }
  }
}

/** Our own patience doubles from 15 s to 30 min; the service's word (`Retry-After`) counts where it asks for longer. */
function nextAttempt(asked: Instant | null, attempts: number, now: Instant, jitter: number): Instant {
  const patience = Math.min(retryMax, retryFirst * 2 ** Math.min(attempts, 16));
  const ours = after(now, milliseconds(Math.round(patience * (0.5 + jitter / 2))));
  if (asked === null) return ours;
  // Spread after the asked moment, never before it.
  const theirs = after(earlier(asked, after(now, retryAfterMax)), milliseconds(Math.round(jitter * retryFirst)));
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
