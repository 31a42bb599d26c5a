import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  hours,
  type Instant,
  instantOf,
  isoOf,
  minutes,
  after as past,
  type Span,
  seconds,
} from "../../../server/domain/instant.ts";
import { retryAfter, settlementOf } from "../../../server/domain/push/retry.ts";
import type { PushOutcome } from "../../../server/ports.ts";

const written = instantOf("2026-11-25T06:30:00Z");
const now = past(written, minutes(1));
const busy = (notBefore: Instant | null = null): PushOutcome => ({ kind: "tryLater", notBefore, text: "HTTP 503" });
const settled = (outcome: PushOutcome, { attempts = 0, jitter = 1, ttl = hours(12) as Span } = {}) =>
  settlementOf(outcome, { attempts, writtenAt: written, timeToLive: ttl, jitter }, now);

describe("a notification after an attempt", () => {
  it("is delivered once its push service took it", () => {
    expect(settled({ kind: "accepted" })).toEqual({ kind: "delivered", at: now });
  });

  it("takes its phone with it where the subscription is gone", () => {
    expect(settled({ kind: "subscriptionGone", text: "HTTP 410" })).toEqual({
      kind: "phoneGone",
      at: now,
      problem: "HTTP 410",
    });
  });

  it("is not tried again where it was refused", () => {
    expect(settled({ kind: "refused", text: "HTTP 403" })).toEqual({ kind: "givenUp", at: now, problem: "HTTP 403" });
  });

  it("waits twice as long after each failure, half an hour at most", () => {
    const waits = [0, 1, 2, 3, 6, 7, 8, 1_000].map((attempts) => {
      const settlement = settled(busy(), { attempts });
      return settlement.kind === "retry" ? (settlement.notBefore - now) / 1_000 : null;
    });
    expect(waits).toEqual([15, 30, 60, 120, 960, 1_800, 1_800, 1_800]);
  });

  it("spreads those that failed together over the second half of the wait", () => {
    expect(settled(busy(), { jitter: 0 })).toMatchObject({ notBefore: past(now, seconds(7.5)) });
    expect(settled(busy(), { jitter: 0.5 })).toMatchObject({ notBefore: past(now, seconds(11.25)) });
  });

  it("is never retried before the service asked, nor much after", () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 0, max: 3_600 }),
        fc.nat(20),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (wait, attempts, jitter) => {
          const asked = past(now, seconds(wait));
          const settlement = settled(busy(asked), { attempts, jitter });
          if (settlement.kind !== "retry") throw new Error(`expected a retry, got ${settlement.kind}`);
          expect(settlement.notBefore).toBeGreaterThanOrEqual(asked);
          expect(settlement.notBefore).toBeLessThanOrEqual(now + Math.max(wait * 1_000 + 15_000, 1_800_000));
        },
      ),
    );
  });

  it("isn't put off for days by a service whose clock is wrong", () => {
    expect(settled(busy(instantOf("2036-01-01T00:00:00Z")), { jitter: 0 })).toMatchObject({
      kind: "retry",
      notBefore: past(now, hours(1)),
    });
    expect(settled(busy(instantOf("1999-01-01T00:00:00Z")))).toMatchObject({ notBefore: past(now, seconds(15)) });
  });

  it("is given up when its time ends before the next attempt", () => {
    expect(settled(busy(), { ttl: seconds(75) })).toMatchObject({ kind: "retry" }); // 60 s gone, 15 s to wait
    expect(settled(busy(), { ttl: seconds(74) })).toMatchObject({
      kind: "givenUp",
      problem: expect.stringContaining("HTTP 503"),
    });
  });
});

describe("Retry-After", () => {
  it("is read as seconds or as an HTTP date (RFC 9110 sections 10.2.3 and 5.6.7)", () => {
    expect(retryAfter("120", now)).toBe(past(now, seconds(120)));
    expect(retryAfter(" 0 ", now)).toBe(now);
    const date = retryAfter("Sun, 06 Nov 1994 08:49:37 GMT", now);
    expect(date === null ? null : isoOf(date)).toBe("1994-11-06T08:49:37.000Z");
  });

  it("is nothing where it is neither", () => {
    for (const text of [
      undefined,
      "",
      "soon",
      "-5",
      "1.5",
      "99999999999",
      "2026-11-25",
      "Sun, 99 Foo 1994 08:49:37 GMT",
    ]) {
      expect(retryAfter(text, now)).toBeNull();
    }
  });
});
