import { describe, expect, it } from "vitest";
import type { PaymentEvent } from "../../../server/domain/digest/paymentEvent.ts";
import { paymentLines, paymentSummary } from "../../../server/domain/digest/payments.ts";
import { plannedFoodLines } from "../../../server/domain/digest/plannedFood.ts";
import { initialOwnLimits, type OwnLimits } from "../../../server/domain/feed/ownLimits.ts";
import type { PlannedAndGiven } from "../../../server/domain/feedingPlan/planRecord.ts";
import { days, type Instant, instantOf, after as past, seconds } from "../../../server/domain/instant.ts";
import { digestFeederFixture, feederWithPortions, yard } from "./digestFeederFixture.ts";

const noon = instantOf("2026-11-24T11:40:00Z"); // 12:40 in Stockholm
const at = (offset: number): Instant => past(noon, seconds(offset));
const deposit = (seq: number, offset: number, owed = true): PaymentEvent => ({
  kind: "deposit",
  of: `b ${seq}`,
  at: at(offset),
  expectsPortion: owed,
  isPromised: false,
});
const portion = (paysFor: number | null, offset: number, different: object = {}): PaymentEvent => ({
  kind: "portion",
  at: at(offset),
  paysFor: paysFor === null ? null : `b ${paysFor}`,
  forDeposit: true,
  isOrdered: false,
  fell: true,
  ...different,
});
const lineOf = (events: readonly PaymentEvent[] | null, limits = initialOwnLimits) => {
  const rowan = feederWithPortions("Rowan");
  const state = { ...rowan, feed: { ...rowan.feed, payments: { ...rowan.feed.payments, limits } } };
  return paymentLines([digestFeederFixture(state, { paymentEvents: events })], yard.zone);
};
/** The most portions in an hour that this feeder ever gave, just then. */
const limitsOf = (highest: number): OwnLimits => ({ ...initialOwnLimits, highest, highestAt: noon });

describe("deposits and portions in the digest", () => {
  it("state that all got a portion, and how soon", () => {
    const events = [deposit(1, 0), portion(1, 1.2), deposit(3, 60), portion(3, 63.4), deposit(5, 90), portion(5, 91.9)];
    expect(paymentSummary(events)).toMatchObject({ deposits: 3, unpaid: [], medianDelay: 1_900 });
    expect(lineOf(events)).toEqual(["Rowan: 3 deposits, all with a portion, half of them within 2 seconds."]);
  });

  it("list deposits without a portion first, with their times", () => {
    const events = [deposit(1, 0), deposit(2, 60), portion(2, 61)];
    expect(lineOf(events)).toEqual(["Rowan: no portion for 1 of 2 deposits (12:40). The others within a second."]);
  });

  it("count a portion of which nothing was seen to fall as no pay", () => {
    expect(paymentSummary([deposit(1, 0), portion(1, 1, { fell: false })]).unpaid).toHaveLength(1);
  });

  it("take a portion that names no deposit for pay within ten seconds, and not later", () => {
    expect(paymentSummary([deposit(1, 0), portion(null, 9)]).unpaid).toHaveLength(0);
    expect(paymentSummary([deposit(1, 0), portion(null, 11)]).unpaid).toHaveLength(1);
    expect(paymentSummary([deposit(1, 0), portion(null, 2, { forDeposit: false })]).unpaid).toHaveLength(1);
  });

  it("pay one deposit with one portion", () => {
    expect(paymentSummary([deposit(1, 0), deposit(2, 4), portion(null, 5)]).unpaid).toHaveLength(1);
  });

  it("take two trips of the detector by one cap for one deposit, whichever of them is paid", () => {
    const events = [deposit(1, 0), deposit(2, 1), portion(2, 3)];
    expect(paymentSummary(events)).toMatchObject({ deposits: 1, unpaid: [] });
  });

  it("don't count without metal, nor while paused", () => {
    expect(lineOf([deposit(1, 0, false)])).toEqual([
      "Rowan: no deposit yesterday. 1 more did not count: no metal, paused, or not paid by the plan.",
    ]);
  });

  it("list the first two of many without a portion", () => {
    const events = [deposit(1, 0), deposit(2, 60), deposit(3, 120), deposit(4, 180)];
    expect(lineOf(events)).toEqual(["Rowan: no portion for all 4 deposits (12:40, 12:41 and 2 more)."]);
  });

  it("state how many of them the feeder's own program may have refused, and by which rule", () => {
    // Twelve for presses within the hour before the deposit: at least half of the most that this feeder ever gave in an hour.
    const full = Array.from({ length: 12 }, (_, index) =>
      portion(null, -240 * (index + 1), { forDeposit: false }),
    ).reverse();
    expect(lineOf([...full, deposit(1, 0)], limitsOf(24))).toEqual([
      "Rowan: no portion for the only deposit (12:40). The feeder's own rule may be why 1 got none: only so many portions an hour.",
    ]);
    const night = 9 * 3_600; // 21:40, long after dusk
    expect(lineOf([deposit(1, 0), portion(1, 1), deposit(2, night), deposit(3, night + 60)], limitsOf(24))).toEqual([
      "Rowan: no portion for 2 of 3 deposits (21:40, 21:41). The others within a second. The feeder's own rule may be why 2 got none: none while it rests.",
    ]);
    expect(lineOf([...full, deposit(1, 0), deposit(2, night)], limitsOf(24))).toEqual([
      "Rowan: no portion for all 2 deposits (12:40, 21:40). The feeder's own rule may be why 2 got none: only so many portions an hour and none while it rests.",
    ]);
  });

  it("blame no rule where the hour wasn't full, a keeper ordered the portions, or the motor ran and nothing fell", () => {
    const portions = (count: number, different: object = {}) =>
      Array.from({ length: count }, (_, index) =>
        portion(null, -240 * (index + 1), { forDeposit: false, ...different }),
      ).reverse();
    const unexplained = ["Rowan: no portion for the only deposit (12:40)."];
    expect(lineOf([...portions(11), deposit(1, 0)], limitsOf(24))).toEqual(unexplained);
    expect(lineOf([...portions(12), deposit(1, 0)], limitsOf(26))).toEqual(unexplained);
    expect(lineOf([...portions(12, { isOrdered: true }), deposit(1, 0)], limitsOf(24))).toEqual(unexplained);
    expect(lineOf([...portions(12), deposit(1, 0), portion(1, 1, { fell: false })], limitsOf(24))).toEqual(unexplained);
    const later = portions(12).map((event) => ({ ...event, at: past(event.at, seconds(3_000)) }));
    expect(lineOf([deposit(1, 0), ...later], limitsOf(24))).toEqual(unexplained);
    const earlier = portions(12).map((event) => ({ ...event, at: past(event.at, seconds(-1_500)) }));
    expect(lineOf([...earlier, deposit(1, 0)], limitsOf(24))).toEqual(unexplained);
  });

  it("have no line where no feeder takes deposits, and state where there were too many to list", () => {
    const without = feederWithPortions("Rowan", 1_500, 10, {
      sensors: { button: true, detector: false, chute: true, perch: true, scale: false },
    });
    expect(paymentLines([digestFeederFixture(without)], yard.zone)).toEqual([]);
    expect(lineOf(null)).toEqual(["Rowan: too many deposits to list."]);
  });
});

describe("free food in the digest", () => {
  const begin = instantOf("2026-11-23T23:00:00Z"); // of 24 November in Stockholm
  const record = { each: 1, portions: 9, judgedUntil: noon, missedMost: 0, paused: false, boot: "b", bootedAt: begin };
  const lines = (day: Partial<PlannedAndGiven>, isDayBefore = false) => {
    const planned = { from: begin, planned: 9, given: 9, causes: [], ...day };
    const today = { from: past(begin, days(1)), planned: 1, given: 0, causes: [] };
    const planRecord = {
      ...record,
      heardAt: begin,
      ...(isDayBefore ? today : planned),
      dayBefore: isDayBefore ? planned : null,
    };
    const state = { ...feederWithPortions("Rowan"), planRecord };
    return plannedFoodLines([digestFeederFixture(state)], "2026-11-25");
  };

  it("is told of the day before, also where the feeder has not reported since", () => {
    expect(lines({})).toEqual(["Rowan: 9 portions of free food, as planned."]);
    expect(lines({}, true)).toEqual(["Rowan: 9 portions of free food, as planned."]);
  });

  it("is told with its cause where some was left out", () => {
    expect(lines({ given: 6, causes: ["supply"] })).toEqual([
      "Rowan: planned 9 portions of free food, gave 6: its supply is weak.",
    ]);
    expect(lines({ given: 6, causes: ["power", "unknown"] })[0]).toContain(
      "it had no power; nothing reported explains it",
    );
  });

  it("isn't told of another day, nor where nothing was planned", () => {
    expect(lines({ from: past(begin, days(-1)) })).toEqual([]);
    expect(lines({ planned: 0, given: 2 })).toEqual([]);
    expect(plannedFoodLines([digestFeederFixture(feederWithPortions("Rowan"))], "2026-11-25")).toEqual([]);
  });
});
