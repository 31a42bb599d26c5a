import fc from "fast-check";
import { describe, expect, it } from "vitest";
import type { PaymentEvent as DigestEvent } from "../../../server/domain/digest/paymentEvent.ts";
import { paymentSummary } from "../../../server/domain/digest/payments.ts";
import {
  judgeDeposits,
  type PaymentEvent,
  type PaymentEvents,
  rememberEvents,
} from "../../../server/domain/history/depositPayments.ts";
import { type Instant, instant, instantOf } from "../../../server/domain/instant.ts";

const start = instantOf("2026-11-02T06:00:00Z");

/** Deposits and portions seconds to minutes apart: some named, some paid late, twice or by a portion of another boot. */
const history = (length: number): fc.Arbitrary<PaymentEvent[]> =>
  fc
    .array(
      fc.record({
        wait: fc.oneof(fc.integer({ min: 0, max: 3_000 }), fc.integer({ min: 0, max: 90_000 })),
        boot: fc.constantFrom("b-1", "b-1", "b-1", "b-2"),
        isDeposit: fc.boolean(),
        isPromised: fc.boolean(),
        pays: fc.oneof(fc.constant(null), fc.integer({ min: 1, max: 4 })),
      }),
      { minLength: 1, maxLength: length },
    )
    .map((steps) => {
      let at: Instant = start;
      return steps.map(({ wait, boot, isDeposit, isPromised, pays }, index) => {
        at = instant(at + wait);
        const seq = index + 1;
        return isDeposit
          ? { boot, seq, at, ...(isPromised && { promised: true as const }) }
          : { boot, seq, at, paysFor: pays === null ? null : Math.max(1, seq - pays) };
      });
    });

const digestEvent = ({ boot, seq, at, paysFor, promised }: PaymentEvent): DigestEvent =>
  paysFor === undefined
    ? { kind: "deposit", of: `${boot} ${seq}`, at, expectsPortion: true, isPromised: promised === true }
    : {
        kind: "portion",
        at,
        paysFor: paysFor === null ? null : `${boot} ${paysFor}`,
        forDeposit: true,
        isOrdered: false,
        fell: true,
      };

/** What is counted when the events come in these reports, by the moment of the deposit. */
function countReports(reports: readonly PaymentEvents[]): ReadonlyMap<string, number> {
  const counts = new Map<string, number>();
  const add = (events: PaymentEvents, sign: number) => {
    for (const { at, isPaid } of judgeDeposits(events)) {
      const key = `${at} ${isPaid}`;
      counts.set(key, (counts.get(key) ?? 0) + sign);
      if (counts.get(key) === 0) counts.delete(key);
    }
  };
  let known: PaymentEvents = [];
  for (const report of reports) {
    add(known, -1);
    add([...known, ...report], 1);
    known = rememberEvents(known, report);
  }
  return counts;
}

const sorted = (counts: ReadonlyMap<string, number>) => [...counts].sort();

describe("which deposits are paid", () => {
  it("is as the digest has it", () => {
    let unpaidCount = 0;
    fc.assert(
      fc.property(history(60), (events) => {
        const summary = paymentSummary(events.map(digestEvent));
        const judged = judgeDeposits(events);
        expect(judged).toHaveLength(summary.deposits);
        expect(judged.filter(({ isPaid }) => !isPaid).map(({ at }) => at)).toEqual(summary.unpaid.map(({ at }) => at));
        unpaidCount += judged.length - summary.unpaid.length;
      }),
      { numRuns: 300 },
    );
    expect(unpaidCount).toBeGreaterThan(100); // or the histories hold no payment
  });

  it("is the same in whatever order few events come", () => {
    const shuffled = history(20).chain((events) =>
      fc.tuple(fc.constant(events), fc.shuffledSubarray(events, { minLength: events.length })),
    );
    fc.assert(
      fc.property(shuffled, ([events, order]) => {
        expect(sorted(countReports(order.map((event) => [event])))).toEqual(sorted(countReports([events])));
      }),
      { numRuns: 200 },
    );
  });

  it("is the same where a long backlog comes in parts, the newest first or the oldest", () => {
    fc.assert(
      fc.property(history(400), fc.integer({ min: 5, max: 120 }), fc.boolean(), (events, size, newestFirst) => {
        // At most a dozen of these lie within the two minutes around the cut; more would be remembered in part only.
        const spread = events.map((event, index) => ({ ...event, at: instant(event.at + index * 20_000) }));
        const parts = Array.from({ length: Math.ceil(spread.length / size) }, (_, n) =>
          spread.slice(n * size, (n + 1) * size),
        );
        expect(sorted(countReports(newestFirst ? parts.toReversed() : parts))).toEqual(sorted(countReports([spread])));
      }),
      { numRuns: 60 },
    );
  });

  it("remembers little, however much comes", () => {
    const flood = Array.from({ length: 2_000 }, (_, n) => ({ boot: "b-1", seq: n + 1, at: instant(start + n * 100) }));
    expect(rememberEvents(rememberEvents([], flood), flood).length).toBeLessThanOrEqual(32);
  });
});
