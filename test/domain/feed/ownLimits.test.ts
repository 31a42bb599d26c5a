import { describe, expect, it } from "vitest";
import {
  initialOwnLimits,
  type OwnLimits,
  ownLimitAt,
  updateOwnLimits,
} from "../../../server/domain/feed/ownLimits.ts";
import { paymentFaults } from "../../../server/domain/feed/paymentFaults.ts";
import {
  initialPayments,
  type Payments,
  updatePaymentsByDeposit,
  updatePaymentsByPortion,
  updatePaymentsByPress,
  updatePaymentsByReport,
} from "../../../server/domain/feed/payments.ts";
import { after, days, hours, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import { civilDayAround } from "../../../server/domain/sun.ts";
import { portionAt } from "../hopper/rowan.ts";

const alderCroft = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const noon = instantOf("2026-03-20T11:00:00Z");
const midnight = instantOf("2026-03-20T23:00:00Z");
const inMinutes = (from: Instant, span: number): Instant => after(from, minutes(span));

/** Caps at these minutes, of which the program pays those that `pays` says, a report after each; in which of them one was counted as unpaid. */
function trade(
  from: Instant,
  caps: readonly number[],
  pays: (minute: number) => boolean,
  start: Payments = initialPayments,
): { payments: Payments; counted: readonly number[] } {
  let payments = start;
  const counted: number[] = [];
  for (const minute of caps) {
    const at = inMinutes(from, minute);
    const seq = Math.round(minute * 10) + 1;
    const deposit = { kind: "deposit", metal: true, signal: null, chute: null, seq, recordedAt: at } as const;
    payments = updatePaymentsByDeposit(payments, deposit, at, false, alderCroft);
    if (pays(minute))
      payments = updatePaymentsByPortion(payments, portionAt(at, { cause: "deposit", paysFor: seq }), true, alderCroft);
    const reportedAt = inMinutes(at, 1);
    payments = updatePaymentsByReport(payments, reportedAt, 0, false, reportedAt);
    if (payments.unpaid.length > 0) counted.push(minute);
  }
  return { payments, counted };
}
const everyThreeMinutes = (count: number, first = 0) => Array.from({ length: count }, (_, n) => first + 3 * n);

describe("a program that pays a dozen portions an hour", () => {
  const inFirst = (minute: number) => minute % 60 < 36;

  it("leaves nothing unpaid by what it refuses, and keeps count of it until it pays again", () => {
    const { counted, payments } = trade(noon, everyThreeMinutes(20), inFirst);
    expect(counted).toEqual([]);
    expect(payments.refused).toBe(8);
    expect(trade(noon, everyThreeMinutes(40), inFirst).counted).toEqual([]);
    expect(trade(noon, everyThreeMinutes(21), inFirst).payments.refused).toBe(0);
  });

  it("is found within the hour when it pays no more, and told with all that it has left unpaid since", () => {
    const { counted, payments } = trade(noon, everyThreeMinutes(40), (minute) => minute < 36);
    // The first portion was given at 0: as soon as fewer than ten were given in the hour before, nothing explains it.
    expect(counted[0]).toBeGreaterThan(60);
    expect(counted[0]).toBeLessThanOrEqual(75);
    expect(paymentFaults(payments, false, inMinutes(noon, 119), false)[0]?.reason).toContain("28 in a row");
  });
});

describe("a program that answers a dozen presses an hour", () => {
  /** Presses each two minutes, with a report after each; how many of them were counted as unpaid in the end. */
  const unpaidOf = (count: number, answers: (press: number) => boolean) => {
    let payments = initialPayments;
    for (let press = 0; press < count; press += 1) {
      const at = inMinutes(noon, 2 * press);
      payments = updatePaymentsByPress(payments, { seq: press + 1, recordedAt: at }, at, false, alderCroft);
      const portion = portionAt(at, { cause: "press", paysFor: press + 1 });
      if (answers(press)) payments = updatePaymentsByPortion(payments, portion, true, alderCroft);
      const reportedAt = inMinutes(at, 1);
      payments = updatePaymentsByReport(payments, reportedAt, 0, false, reportedAt);
    }
    return payments.unpaidCount;
  };

  it("leaves none unpaid by what it refuses, and is found within the hour when it answers no more", () => {
    expect(unpaidOf(30, (press) => press < 20)).toBe(0);
    expect(unpaidOf(60, (press) => press < 20)).toBeGreaterThan(10);
  });
});

describe("a feeder that pays no more", () => {
  it("is counted at once where it gave fewer than ten portions in the last hour", () => {
    expect(trade(noon, everyThreeMinutes(11), (minute) => minute < 27).counted).toEqual([27, 30]);
  });

  it("is counted at once where it has given more than twice as many within an hour before", () => {
    const busy = trade(
      noon,
      everyThreeMinutes(20).flatMap((minute) => [minute, minute + 1.5]),
      () => true,
    );
    const later = inMinutes(noon, 300);
    expect(trade(later, everyThreeMinutes(16), (minute) => minute < 42, busy.payments).counted).toEqual([42, 45]);
    // Half a year later that is forgotten.
    const muchLater = after(noon, days(180));
    expect(trade(muchLater, everyThreeMinutes(16), (minute) => minute < 42, busy.payments).counted).toEqual([]);
  });
});

describe("a program that pays so many portions a day", () => {
  const morning = instantOf("2026-03-20T07:00:00Z");
  const halfHours = Array.from({ length: 18 }, (_, n) => 30 * n);
  /** Day after day, caps each half hour; `pays`: by the day and the number of the cap. In which caps of the last day one was counted as unpaid. */
  const trading = (dayCount: number, pays: (day: number, cap: number) => boolean) => {
    let payments = initialPayments;
    let counted: readonly number[] = [];
    for (let day = 0; day < dayCount; day += 1) {
      const traded = trade(after(morning, days(day)), halfHours, (minute) => pays(day, minute / 30), payments);
      payments = traded.payments;
      counted = traded.counted.map((minute) => minute / 30);
    }
    return { payments, counted };
  };
  const ration = (_: number, cap: number) => cap < 10;

  it("leaves deposits unpaid on the first day, and refuses by its own rule from the second day on", () => {
    expect(trading(1, ration).counted).toEqual([10, 11, 12, 13, 14, 15, 16, 17]);
    expect(trading(2, ration).counted).toEqual([]);
    expect(trading(9, (day, cap) => cap < (day % 2 === 0 ? 10 : 11)).counted).toEqual([]); // a ration by weight
  });

  it("is counted at once where it pays no more before the ration is given, and on the morning after", () => {
    expect(trading(4, (day, cap) => cap < (day === 3 ? 5 : 10)).counted[0]).toBe(5);
    expect(trading(4, (day, cap) => day < 3 && cap < 10).counted[0]).toBe(0);
  });

  it("has none where it pays again on the same day, or more on another one", () => {
    expect(trading(2, (day, cap) => (day === 0 ? cap !== 10 : cap < 10)).counted[0]).toBe(10);
    expect(trading(4, (day, cap) => (day < 2 ? cap < 10 : day === 2 || cap < 10)).counted[0]).toBe(10);
  });

  it("is learnt from presses as well, where presses are answered as a rule", () => {
    const pressing = (dayCount: number, pays: (day: number, press: number) => boolean) => {
      let payments = initialPayments;
      for (let day = 0; day < dayCount; day += 1)
        for (const [n, minute] of halfHours.entries()) {
          const at = inMinutes(after(morning, days(day)), minute);
          const seq = 100 * day + n + 1;
          payments = updatePaymentsByPress(payments, { seq, recordedAt: at }, at, false, alderCroft);
          if (pays(day, n))
            payments = updatePaymentsByPortion(
              payments,
              portionAt(at, { cause: "press", paysFor: seq }),
              true,
              alderCroft,
            );
          const reportedAt = inMinutes(at, 1);
          payments = updatePaymentsByReport(payments, reportedAt, 0, false, reportedAt);
        }
      return payments;
    };
    expect(pressing(3, (day, n) => day === 0 || n < 12).pressesUnanswered).toBe(0);
    expect(pressing(3, (day, n) => day < 2 || n < 12).pressesUnanswered).toBe(6);
  });
});

describe("a program that rests at night", () => {
  it("leaves nothing unpaid for a cap in the dark, nor within half an hour of it, but the first one in daylight", () => {
    expect(trade(midnight, [0, 5], () => false).counted).toEqual([]);
    const { dawn } = civilDayAround(alderCroft, after(midnight, hours(5)));
    expect(trade(dawn, [10, 25], () => false).counted).toEqual([]);
    expect(trade(dawn, [10, 40], () => false).counted).toEqual([40]);
  });

  it("is no excuse for one that pays at night as well", () => {
    const { payments } = trade(midnight, [0], () => true);
    expect(trade(inMinutes(midnight, 120), [0], () => false, payments).counted).toEqual([0]);
    expect(trade(after(midnight, days(15)), [0], () => false, payments).counted).toEqual([]);
  });

  it("is not assumed where the place isn't known, and never where it doesn't get dark", () => {
    expect(ownLimitAt(initialOwnLimits, midnight, null)).toBeNull();
    const midsummer = instantOf("2026-06-20T23:00:00Z");
    expect(ownLimitAt(initialOwnLimits, midsummer, { latitudeDegrees: 68, longitudeDegrees: 17.8 })).toBeNull();
  });
});

describe("hours in which nothing is ever given", () => {
  const week = instantOf("2026-01-01T00:00:00Z"); // a Thursday, as weeks since the epoch begin
  /** Two weeks, with a portion in each of these hours. */
  const fed = (these: readonly number[], span = 14) => {
    let limits: OwnLimits = initialOwnLimits;
    for (let day = 0; day < span; day += 1)
      for (const hour of these)
        limits = updateOwnLimits(limits, after(week, (days(day) + hours(hour)) as never), true, null);
    return limits;
  };
  const at = (hour: number, day = 14) => after(week, (days(day) + hours(hour) + minutes(20)) as never);
  const byDay = [6, 7, 8, 9, 10, 11, 15, 16, 17, 19];

  it("are a rest where they are three on end, in a feeder's second week and with a hundred portions known", () => {
    for (const hour of [12, 13, 14, 20, 23, 0, 5])
      expect([hour, ownLimitAt(fed(byDay), at(hour), null)]).toEqual([hour, "rest"]);
    for (const hour of [6, 11, 15, 18]) expect([hour, ownLimitAt(fed(byDay), at(hour), null)]).toEqual([hour, null]);
    expect(ownLimitAt(fed(byDay, 9), at(13, 9), null)).toBeNull();
    expect(ownLimitAt(fed(byDay, 7), at(13, 6), null)).toBeNull();
  });

  it("are forgotten by a feeder that gave nothing for weeks", () => {
    expect(ownLimitAt(fed(byDay), at(13, 20), null)).toBe("rest");
    expect(ownLimitAt(fed(byDay), at(13, 28), null)).toBeNull();
  });
});
