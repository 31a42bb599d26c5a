import { describe, expect, it } from "vitest";
import { paymentFaults } from "../../../server/domain/feed/paymentFaults.ts";
import {
  initialPayments,
  type Payments,
  updatePaymentsByCutShort,
  updatePaymentsByDeposit,
  updatePaymentsByPortion,
  updatePaymentsByPress,
  updatePaymentsByReport,
} from "../../../server/domain/feed/payments.ts";
import { after, type Instant, minutes, seconds } from "../../../server/domain/instant.ts";
import type { Portion } from "../../../server/domain/report.ts";
import { dawn, portionAt } from "../hopper/rowan.ts";

const at = (second: number): Instant => after(dawn, seconds(second));

describe("what is owed", () => {
  const deposit =
    (second: number, seq: number, { received = second, paused = false, metal = true as boolean | null } = {}) =>
    (payments: Payments) =>
      updatePaymentsByDeposit(
        payments,
        { kind: "deposit", metal, signal: null, chute: null, seq, recordedAt: at(second) } as never,
        at(received),
        paused,
      );
  const press =
    (second: number, seq: number, { received = second, paused = false } = {}) =>
    (payments: Payments) =>
      updatePaymentsByPress(payments, { seq, recordedAt: at(second) }, at(received), paused);
  const portion =
    (second: number, different: Partial<Portion> = {}, fell: boolean | null = true) =>
    (payments: Payments) =>
      updatePaymentsByPortion(payments, portionAt(at(second), { cause: "deposit", ...different }), fell);
  const report =
    (second: number, { spooled = 0 as number | null, paused = false, now = second } = {}) =>
    (payments: Payments) =>
      updatePaymentsByReport(payments, at(second), spooled, paused, at(now));
  type Steps = readonly ((payments: Payments) => Payments)[];
  const run = (...steps: Steps) => steps.reduce((payments, step) => step(payments), initialPayments);
  const owed = (...steps: Steps) => run(...steps).owed.map(({ seq }) => seq);
  const unpaid = (...steps: Steps) => run(...steps).unpaid.map(({ seq }) => seq);

  it("is a portion for each deposit of metal, received within half an hour, while the feeder isn't paused", () => {
    expect(owed(deposit(0, 1))).toEqual([1]);
    expect(owed(deposit(0, 1, { metal: null }))).toEqual([1]);
    expect(owed(deposit(0, 1, { metal: false }))).toEqual([]);
    expect(owed(deposit(0, 1, { paused: true }))).toEqual([]);
    expect(owed(deposit(0, 1, { received: 1_800 }))).toEqual([1]);
    expect(owed(deposit(0, 1, { received: 1_801 }))).toEqual([]);
  });

  it("is one portion for two trips of the detector within two seconds", () => {
    expect(run(deposit(0, 7), deposit(2, 8)).owed).toMatchObject([{ seq: 7, lastSeq: 8, at: at(0) }]);
    expect(run(deposit(2, 8), deposit(0, 7)).owed).toMatchObject([{ seq: 7, lastSeq: 8 }]);
    expect(run(deposit(0, 7), deposit(2.1, 8)).owed).toMatchObject([{ seq: 7, lastSeq: 7 }]);
  });

  it("is none for a cap within a minute after a portion or another cap, which many programs ignore", () => {
    expect(owed(deposit(0, 1), deposit(59, 2), deposit(60, 3))).toEqual([1, 3]);
    expect(owed(portion(0, { cause: "timer" }), deposit(59, 1))).toEqual([]);
    expect(owed(portion(0, { cause: "timer" }), deposit(60, 1))).toEqual([1]);
    expect(owed(portion(10, { cause: "timer" }), deposit(0, 1))).toEqual([1]); // the portion came after the cap
  });

  it("is none for a press within a minute of a portion or of another press", () => {
    expect(owed(press(0, 1), press(59, 2), press(60, 3))).toEqual([1, 3]);
    expect(owed(portion(0, { cause: "timer" }), press(59, 1))).toEqual([]);
    expect(owed(portion(0, { cause: "timer" }), press(60, 1))).toEqual([1]);
    expect(owed(press(0, 1, { paused: true }), press(40, 2, { received: 1_841 }))).toEqual([]);
  });

  it("is paid by a portion that names it within two minutes, or by one that follows within ten seconds", () => {
    const left = (second: number, paysFor: number | null, cause: "deposit" | "press" | "timer" = "deposit") =>
      owed(deposit(0, 7), portion(second, { paysFor, cause }));
    expect([left(120, 7), left(120.1, 7), left(5, 6), left(5, 8)]).toEqual([[], [7], [7], []]); // 8 is a repeat of 7
    expect([left(13, null), left(13.1, null), left(-3, null)]).toEqual([[], [7], []]);
    expect(left(-3.1, null)).toEqual([]); // it paid another one, and this cap came too soon after it
    expect([left(5, null, "press"), left(5, null, "timer")]).toEqual([[7], [7]]);
    expect(owed(deposit(0, 7), deposit(2, 8), portion(5, { paysFor: 8 }))).toEqual([]);
  });

  it("is paid by a portion that names a repeat of it, as a bouncing contact gives", () => {
    expect(owed(press(0, 7), press(0.1, 8), portion(1, { cause: "press", paysFor: 8 }))).toEqual([]);
    expect(owed(press(0, 7), press(0.1, 8), portion(20, { cause: "deposit", paysFor: 8 }))).toEqual([7]);
    expect(owed(press(0, 7), portion(70, { cause: "press", paysFor: 8 }))).toEqual([7]);
  });

  it("is one portion for a cap and a press in the same moment, whichever the program names, unless each was promised one", () => {
    expect(owed(deposit(0, 7), press(0.4, 8), portion(1, { cause: "press", paysFor: 8 }))).toEqual([]);
    expect(owed(press(0, 7), deposit(0.4, 8), portion(10, { paysFor: 8 }))).toEqual([]);
    expect(owed(deposit(0, 7), press(0.4, 8), portion(10.1, { cause: "press", paysFor: 8 }))).toEqual([7]);
    const promised = updatePaymentsByPress(initialPayments, { seq: 7, recordedAt: at(0), earns: true }, at(0), false);
    expect(portion(1, { paysFor: 8 })(promised).owed).toHaveLength(1);
  });

  it("is paid by a portion that was reported before it", () => {
    expect(owed(portion(5, { paysFor: 7 }), deposit(0, 7))).toEqual([]);
    expect(owed(portion(121, { paysFor: 7 }), deposit(0, 7))).toEqual([7]);
    expect(owed(portion(5, { paysFor: 7 }, false), deposit(0, 7))).toEqual([7]);
    expect(run(portion(5, { paysFor: 7 }), deposit(0, 7)).earlyPayments).toEqual([]);
    const other = run(portion(5, { paysFor: 7 }), portion(6, { paysFor: 9 }), deposit(0, 7));
    expect(other.earlyPayments).toEqual([{ seq: 9, at: at(6) }]);
  });

  it("forgets such a portion once a deposit that it pays would be owed nothing", () => {
    const early = (now: number) => run(portion(120, { paysFor: 7 }), report(now)).earlyPayments;
    expect(early(120 + 32 * 60)).toHaveLength(1);
    expect(early(121 + 32 * 60)).toEqual([]);
    expect(owed(portion(120, { paysFor: 7 }), report(1_800), deposit(0, 7, { received: 1_800 }))).toEqual([]);
  });

  it("stays owed where the portion was empty or cut short, which its text states", () => {
    expect(run(deposit(0, 7), portion(5, { paysFor: 7 }, false)).owed).toMatchObject([
      { seq: 7, portionWasEmpty: true },
    ]);
    const cut = (different: Partial<Portion>) =>
      updatePaymentsByCutShort(
        run(deposit(0, 7), deposit(60, 8)),
        portionAt(at(5), { cause: "deposit", ...different }),
      ).owed.map(({ cutShort }) => cutShort ?? false);
    expect(cut({ paysFor: 7 })).toEqual([true, false]);
    expect(cut({ paysFor: null })).toEqual([true, false]);
    const reason = (payments: Payments, hasFoodStopped = false) =>
      paymentFaults(payments, hasFoodStopped, at(100), false)[0]?.reason;
    const promised = updatePaymentsByPress(initialPayments, { seq: 7, recordedAt: at(0), earns: true }, at(0), false);
    const interrupted = updatePaymentsByReport(
      updatePaymentsByCutShort(promised, portionAt(at(5), { cause: "press" })),
      at(60),
      0,
      false,
      at(60),
    );
    expect(reason(interrupted)).toBe("A press got no portion: the portion was interrupted.");
    const empty = run(deposit(0, 7), portion(5, { paysFor: 7 }, false), report(60));
    expect([reason(empty), reason(empty, true)]).toEqual([
      undefined,
      "A deposit got no portion: the motor ran, but no food was seen to fall.",
    ]);
  });

  it("is proven unpaid by a report that was sent and received half a minute later, of a feeder without events left", () => {
    expect(unpaid(deposit(0, 7), report(29))).toEqual([]);
    expect(unpaid(deposit(0, 7), report(30))).toEqual([7]);
    expect(unpaid(deposit(0, 7, { received: 10 }), report(35, { now: 39 }))).toEqual([]);
    expect(unpaid(deposit(0, 7, { received: 10 }), report(35, { now: 40 }))).toEqual([7]);
    expect(unpaid(deposit(0, 7), report(60, { spooled: 1 }))).toEqual([]);
    expect(unpaid(deposit(0, 7), report(60, { spooled: null }))).toEqual([7]);
    expect(run(deposit(0, 7), report(60, { paused: true })).owed).toEqual([]);
    expect(run(deposit(0, 7), deposit(70, 8), report(80))).toMatchObject({
      owed: [{ seq: 8 }],
      unpaid: [{ seq: 7 }],
      unpaidCount: 1,
    });
  });

  it("is a fault for a press only where nine of ten were answered, of ten at least, and of so many in a row as come once a year", () => {
    const answered = (count: number, more: readonly boolean[] = []) =>
      [...Array.from({ length: count }, () => true), ...more].flatMap((isPaid, n) => [
        press(700 * n, n), // so seldom that no limit for the hour explains one without portion
        ...(isPaid ? [portion(700 * n + 1, { cause: "press", paysFor: n })] : []),
        report(700 * n + 50),
      ]);
    const row = (count: number) => Array.from({ length: count }, () => false);
    // Of 60 that were all answered at most 6.0 % aren't, of ten 27.8 % (Wilson, as above): ln(365 * 20) takes four in a row, or seven.
    expect(unpaid(...answered(60, row(3)))).toEqual([]);
    expect(run(...answered(60, row(4)))).toMatchObject({ unpaid: [{ seq: 63 }], unpaidCount: 4 });
    expect(unpaid(...answered(10, row(6)))).toEqual([]);
    expect(unpaid(...answered(10, row(7)))).toEqual([16]);
    expect(unpaid(...answered(9, row(9)))).toEqual([]);
    // Rows that end are learnt: of a feeder that leaves one in five alone none is a fault.
    const some = Array.from({ length: 100 }, (_, n) => n % 5 !== 0);
    expect(unpaid(...answered(10, [...some, ...row(9)]))).toEqual([]);
    expect(run(...answered(10, [...some, ...row(40)])).pressesAnsweredShare).toBeLessThan(0.6); // a stage of training is over
  });

  it("is over with the next one that is paid, for what came before it", () => {
    const two = [deposit(0, 7), deposit(100, 8), report(200)] as const;
    expect(run(...two)).toMatchObject({ unpaid: [{ seq: 7 }, { seq: 8 }], unpaidCount: 2 });
    expect(run(...two, deposit(300, 9), portion(301, { paysFor: 9 }))).toMatchObject({ unpaid: [], unpaidCount: 0 });
    expect(run(...two, portion(60, { paysFor: 7 }))).toMatchObject({ unpaid: [{ seq: 8 }], unpaidCount: 1 });
  });

  it("is shown with how many in a row, four at most by their numbers, for a day", () => {
    const five = run(...[0, 100, 200, 300, 400].map((second, n) => deposit(second, n)), report(500));
    const [fault] = paymentFaults(five, false, at(500), false);
    expect(fault?.reason).toBe("A deposit got no portion. 5 in a row.");
    expect(fault?.evidence.map(({ label }) => label)).toEqual(["deposit 1", "deposit 2", "deposit 3", "deposit 4"]);
    expect(paymentFaults(five, false, after(at(400), minutes(24 * 60)), false)).toHaveLength(1);
    expect(paymentFaults(five, false, after(at(401), minutes(24 * 60)), false)).toEqual([]);
    expect(paymentFaults(five, false, at(500), true)).toEqual([]);
    expect(run(...Array.from({ length: 20 }, (_, n) => deposit(100 * n, n))).owed).toHaveLength(16);
  });
});
