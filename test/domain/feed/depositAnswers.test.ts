import { describe, expect, it } from "vitest";
import { paymentFaults } from "../../../server/domain/feed/paymentFaults.ts";
import {
  clearUnpaid,
  initialPayments,
  type Payments,
  updatePaymentsByDeposit,
  updatePaymentsByPortion,
  updatePaymentsByReport,
} from "../../../server/domain/feed/payments.ts";
import { after, type Instant, minutes } from "../../../server/domain/instant.ts";
import { dawn, portionAt } from "../hopper/rowan.ts";

/** A cap each seven minutes, too few an hour for a limit, of which those that `pays` says get their portion; in which of them the alarm stood. */
function trade(count: number, pays: (n: number) => boolean, start: Payments = initialPayments, from = 0, earns?: true) {
  let payments = start;
  const alarmed: number[] = [];
  for (let n = from; n < from + count; n += 1) {
    const at: Instant = after(dawn, minutes(7 * n));
    const act = { kind: "deposit", metal: true, signal: null, chute: null, seq: n, recordedAt: at } as const;
    payments = updatePaymentsByDeposit(payments, earns ? { ...act, earns } : act, at, false);
    if (pays(n)) payments = updatePaymentsByPortion(payments, portionAt(at, { cause: "deposit", paysFor: n }), null);
    const reportedAt = after(at, minutes(1));
    payments = updatePaymentsByReport(payments, reportedAt, 0, false, reportedAt);
    if (paymentFaults(payments, false, reportedAt, false).length > 0) alarmed.push(n);
  }
  return { payments, alarmed };
}
const kinds = (payments: Payments, n: number) =>
  paymentFaults(payments, false, after(dawn, minutes(7 * n)), false).map(({ kind }) => kind);
const all = () => true;
const none = () => false;

describe("deposits without a portion", () => {
  it("are no alarm one at a time, as where a board restarts between a cap and its portion", () => {
    expect(trade(400, (n) => n % 40 !== 0).alarmed).toEqual([]);
  });

  // Of a new feeder 5.4 % may be unpaid, and 19 % of those after one (Wilson, as above): ln(365 * 20) takes five in a row. After 300 that were all
  // paid it is 1.1 % and four.
  it("are told as soon as so many in a row come once a year at most by the feeder's own record", () => {
    expect(trade(10, none).alarmed[0]).toBe(4);
    expect(trade(10, none, trade(300, all).payments, 300).alarmed[0]).toBe(303);
  });

  it("are told with all that are in the row, and no more once one is paid", () => {
    const { payments, alarmed } = trade(9, (n) => n === 308, trade(300, all).payments, 300);
    expect(alarmed).toEqual([303, 304, 305, 306, 307]);
    expect(payments.depositsUnanswered).toBe(0);
    const row = trade(8, none, trade(300, all).payments, 300);
    expect(paymentFaults(row.payments, false, after(dawn, minutes(7 * 308)), false)[0]?.reason).toContain(
      "8 in a row.",
    );
  });

  it("are learnt where a ration for the day ends each day: within a week they are no alarm any more", () => {
    let { payments } = trade(0, all);
    const daysAlarmed: number[] = [];
    for (let day = 0; day < 14; day += 1) {
      const told = trade(40, (n) => n % 40 < 20, payments, 40 * day);
      payments = told.payments;
      if (told.alarmed.length > 0) daysAlarmed.push(day);
    }
    expect(daysAlarmed.at(-1)).toBeLessThan(7);
  });

  it("are told at the first one where the feeder itself promised it a portion", () => {
    expect(trade(1, none, trade(300, all).payments, 300, true).alarmed).toEqual([300]);
  });

  it("are a broken promise where the record shows that it pays each; before, and where it pays only some, a question", () => {
    const nights = (payments: Payments) => ({
      ...payments,
      limits: { ...payments.limits, day: { ...payments.limits.day, most: 400 } },
    });
    const kindAfter = (start: Payments, from: number) => kinds(trade(60, none, start, from).payments, from + 60);
    expect(kindAfter(initialPayments, 0)).toEqual(["paymentUnclear"]);
    expect(kindAfter(nights(trade(19, all).payments), 19)).toEqual(["paymentUnclear"]);
    expect(kindAfter(nights(trade(20, all).payments), 20)).toEqual(["depositUnpaid"]);
    expect(kindAfter(nights(trade(300, (n) => n % 3 === 0).payments), 300)).toEqual(["paymentUnclear"]);
    // So many a day were never given before: a ration that nobody has told may have ended.
    expect(kindAfter(trade(300, all).payments, 300)).toEqual(["paymentUnclear"]);
  });

  it("aren't counted on where another alarm explained them", () => {
    const explained = clearUnpaid(trade(3, none, trade(300, all).payments, 300).payments);
    expect(trade(3, none, explained, 303).alarmed).toEqual([]);
  });
});
