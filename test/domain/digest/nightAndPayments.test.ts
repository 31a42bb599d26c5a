import { describe, expect, it } from "vitest";
import { dueDigest } from "../../../server/domain/digest/dueDigest.ts";
import { nightForecast } from "../../../server/domain/digest/nightForecast.ts";
import type { PaymentEvent } from "../../../server/domain/digest/paymentEvent.ts";
import { paymentLines, paymentSummary } from "../../../server/domain/digest/payments.ts";
import { wearLines } from "../../../server/domain/digest/wear.ts";
import { weatherLines } from "../../../server/domain/digest/weatherText.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { after, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import { celsius, humidityPercent, volts } from "../../../server/domain/units.ts";
import {
  airBetween,
  digestFeederFixture,
  feederWithPortions,
  now,
  readingsOf,
  withAlarm,
  yard,
} from "./digestFeederFixture.ts";

describe("the text of the coming night", () => {
  const text = (readings: ReturnType<typeof readingsOf>, state: FeederState = feederWithPortions("Rowan")) =>
    weatherLines([digestFeederFixture(state, { recentReadings: readings })], now);
  const air = (degrees: number, more: object = {}) => readingsOf(() => ({ air: celsius(degrees), ...more }));

  it("names frost from half a degree below zero on, hard frost from ten", () => {
    expect(text(air(-0.5))[0]).toMatch(/^Frost likely, about/);
    expect(text(air(-0.4))[0]).toMatch(/^No frost likely/);
    expect(text(air(-10))[0]).toMatch(/^Hard frost likely/);
    expect(text(air(-9.9))[0]).toMatch(/^Frost likely/);
  });

  it("names a lid below freezing from half a degree on", () => {
    expect(text(air(2, { lid: celsius(-0.5) }))[0]).toMatch(/^A lid may come below freezing/);
    expect(text(air(2, { lid: celsius(-0.4) }))[0]).toMatch(/^No frost likely/);
  });

  it("is the median of the yard's thermometers", () => {
    const feeders = [1, 3, 40].map((degrees, n) =>
      digestFeederFixture(feederWithPortions(`Feeder ${n}`), { recentReadings: air(degrees) }),
    );
    expect(weatherLines(feeders, now)[0]).toBe("No frost likely, about 3 °C.");
  });

  it("is missing where there are no readings, and empty where there is no feeder", () => {
    expect(weatherLines([], now)).toEqual([]);
    expect(weatherLines([digestFeederFixture(feederWithPortions("Rowan"))], now)).toEqual([
      "Not enough temperature data.",
    ]);
  });

  it("names food that froze from the second time on, on nights that freeze after days that thaw", () => {
    const frozen = (cycles: number) => {
      const state = feederWithPortions("Rowan");
      return {
        ...state,
        cold: { ...state.cold, caking: { ...state.cold.caking, freezeThaw: { isFrozen: false, cycles } } },
      };
    };
    const caking = (cycles: number, lowest = -4, warmest = 3) =>
      text(airBetween(lowest, warmest, 50), frozen(cycles)).length - 1;
    expect([caking(1), caking(2)]).toEqual([0, 1]);
    expect([caking(2, -0.5), caking(2, -0.4)]).toEqual([1, 0]);
    expect([caking(2, -4, 0.5), caking(2, -4, 0.4)]).toEqual([1, 0]);
    expect(text(airBetween(-4, 3, 50), withAlarm(frozen(2), "feedCaking", now))).toHaveLength(1);
  });
});

describe("a lead-acid battery in the coming night", () => {
  it("is near its freezing point from three degrees above on, its cautious one", () => {
    const state = feederWithPortions("Rowan", 1_500, 10, { battery: "leadAcid" });
    // At rest 1.1 kg/l: it freezes at -7.8 °C, cautiously at -4.8 °C.
    const rested = {
      ...state.cold.battery,
      lowestVoltage: volts(6 * (1.1 + 0.845)),
      previousLowestVoltage: volts(12.7),
    };
    const text = (degrees: number, battery: FeederState["cold"]["battery"] = rested) =>
      weatherLines(
        [
          digestFeederFixture(
            { ...state, cold: { ...state.cold, battery } },
            { recentReadings: readingsOf(() => ({ air: celsius(5), batteryTemperature: celsius(degrees) })) },
          ),
        ],
        now,
      ).join();
    expect(text(-1.81)).toContain("may come near its freezing point");
    expect(text(-1.79)).not.toContain("may come near its freezing point");
    const earlier = { ...rested, lowestVoltage: volts(12.7), previousLowestVoltage: rested.lowestVoltage };
    expect(text(-1.81, earlier)).toContain("may come near its freezing point");
    expect(text(-1.81, { ...rested, lowestVoltage: null })).not.toContain("may come near its freezing point");
  });
});

describe("the forecast of a night", () => {
  const state = feederWithPortions("Rowan");
  const forecast = (readings: ReturnType<typeof readingsOf>, of = state) =>
    nightForecast(digestFeederFixture(of, { recentReadings: readings }), now);
  const air = readingsOf(() => ({ air: celsius(2) }));

  it("needs twelve readings over eighteen hours, the last within three", () => {
    expect(forecast(air.slice(-12))).toBeNull(); // eleven hours
    expect(forecast(air.filter((_, n) => n % 2 === 0))).not.toBeNull(); // 13 over 24 hours
    expect(forecast(air.filter((_, n) => n % 2 === 1))).not.toBeNull(); // 12 over 22 hours
    expect(forecast(air.filter((_, n) => n % 2 === 1).slice(1))).toBeNull(); // 11
    expect(forecast(air.slice(-19))).not.toBeNull(); // 18 hours
    expect(forecast(air.slice(-18))).toBeNull(); // 17 hours
    expect(forecast(air.slice(0, -3))).not.toBeNull(); // the last three hours ago
    expect(forecast(air.slice(0, -4))).toBeNull();
  });

  it("takes the box's thermometer where there is none in the air, and none without reports", () => {
    expect(forecast(readingsOf(() => ({ inside: celsius(7) })))?.lowest).toBe(7);
    expect(forecast(air, withAlarm(state, "feederSilent", now))).toBeNull();
  });

  it("has the lid as far below the air as it was at most, never above it", () => {
    const lid = (degrees: number) => forecast(readingsOf(() => ({ air: celsius(2), lid: celsius(degrees) })))?.surface;
    expect(lid(-1)).toBe(-1);
    expect(lid(5)).toBe(2);
  });

  it("has a clear sky's cooling where day and night differ by six degrees, and none where by less", () => {
    const surface = (range: number) => {
      const found = forecast(airBetween(2, 2 + range));
      return found === null ? null : found.lowest - found.surface;
    };
    expect(surface(6.01)).toBeGreaterThan(0);
    expect(surface(5.99)).toBe(0);
  });

  it("has the frost point of the newest humidity, by the thermometer beside it", () => {
    const damp = (of: object) =>
      forecast(readingsOf((ago) => ({ air: celsius(2), humidity: humidityPercent(ago === 0 ? 60 : 95), ...of })))
        ?.frostPoint;
    expect(damp({})).toBeLessThan(-3);
    expect(damp({ inside: celsius(10) })).toBeGreaterThan(damp({}) ?? 0);
    expect(forecast(air)?.frostPoint).toBeNull();
  });

  it("counts a battery as charged from 50 mA on", () => {
    const chargedAt = (milliamps: number) =>
      forecast(readingsOf(() => ({ air: celsius(2), batteryTemperature: celsius(4), charge: milliamps as never })))
        ?.chargedAt;
    expect(chargedAt(51)).toBe(4);
    expect(chargedAt(50)).toBeNull();
    const noThermometer = forecast(readingsOf(() => ({ air: celsius(2), charge: 300 as never })));
    expect([noThermometer?.battery, noThermometer?.chargedAt]).toEqual([null, null]);
  });
});

describe("the payments of a day", () => {
  const at = (second: number) => after(instantOf("2026-11-24T09:00:00Z"), seconds(second));
  const deposit = (second: number, of = `b ${second}`, expectsPortion = true): PaymentEvent => ({
    kind: "deposit",
    of,
    at: at(second),
    expectsPortion,
    isPromised: false,
  });
  const portion = (second: number, different: object = {}): PaymentEvent => ({
    kind: "portion",
    at: at(second),
    paysFor: null,
    forDeposit: true,
    isOrdered: false,
    fell: true,
    ...different,
  });

  it("count two detections within two seconds as one deposit", () => {
    expect(paymentSummary([deposit(0), deposit(2)]).deposits).toBe(1);
    expect(paymentSummary([deposit(0), deposit(2.001)]).deposits).toBe(2);
    expect(paymentSummary([deposit(0), deposit(2), deposit(4)]).deposits).toBe(1); // each near to the one before
  });

  it("are found by the deposit's number within two minutes, else within ten seconds", () => {
    const paidAfter = (second: number, paysFor: string | null) =>
      paymentSummary([deposit(0, "b 1"), portion(second, { paysFor })]).medianDelay;
    expect(paidAfter(10, null)).toBe(seconds(10));
    expect(paidAfter(10.001, null)).toBeNull();
    expect(paidAfter(120, "b 1")).toBe(minutes(2));
    expect(paidAfter(120.001, "b 1")).toBeNull();
    expect(paidAfter(1, "b 2")).toBeNull();
  });

  it("pay by either number of a deposit that was detected twice, and only once", () => {
    expect(paymentSummary([deposit(0, "b 1"), deposit(1, "b 2"), portion(3, { paysFor: "b 2" })]).unpaid).toEqual([]);
    expect(paymentSummary([deposit(0), deposit(5), portion(6), portion(7)]).unpaid).toEqual([]);
    expect(paymentSummary([deposit(0), deposit(5), portion(6)]).unpaid.map((one) => one.at)).toEqual([at(5)]);
  });

  it("are not made by a portion that didn't fall, or was given for nothing", () => {
    expect(paymentSummary([deposit(0), portion(1, { fell: false })]).unpaid).toHaveLength(1);
    expect(paymentSummary([deposit(0), portion(1, { forDeposit: false })]).unpaid).toHaveLength(1);
    expect(paymentSummary([deposit(0, "b 1"), portion(1, { forDeposit: false, paysFor: "b 1" })]).unpaid).toEqual([]);
  });

  it("aren't owed for a deposit without metal", () => {
    expect(paymentSummary([deposit(0, "b 1", false)])).toEqual({
      deposits: 0,
      notCounted: 1,
      unpaid: [],
      medianDelay: null,
    });
  });

  it("read as what was paid, how fast, and when not", () => {
    const line = (...paymentEvents: PaymentEvent[]) =>
      paymentLines([digestFeederFixture(feederWithPortions("Rowan"), { paymentEvents })], yard.zone)[0];
    expect(line(deposit(0), portion(1))).toBe("Rowan: 1 deposit, with a portion within a second.");
    expect(line(deposit(0), portion(1.1))).toBe("Rowan: 1 deposit, with a portion within 2 seconds.");
    expect(line(deposit(0), portion(1), deposit(60), portion(64))).toBe(
      "Rowan: 2 deposits, all with a portion, half of them within 3 seconds.",
    );
    expect(line(deposit(0))).toBe("Rowan: no portion for the only deposit (10:00).");
    expect(line(deposit(0), deposit(60))).toBe("Rowan: no portion for all 2 deposits (10:00, 10:01).");
    expect(line(deposit(0), deposit(60), deposit(120), deposit(180), portion(182))).toBe(
      "Rowan: no portion for 3 of 4 deposits (10:00, 10:01 and 1 more). The others within 2 seconds.",
    );
    expect(line(deposit(0, "b 1", false), deposit(60), portion(61))).toBe(
      "Rowan: 1 deposit, with a portion within a second. 1 more did not count: no metal, paused, or not paid by the plan.",
    );
  });

  it("aren't mentioned of a feeder without detector and deposits, and not counted where there were too many to read", () => {
    const without = feederWithPortions("Rowan", 1_500, 10, {
      sensors: { ...feederWithPortions("x").settings.sensors, detector: false },
    });
    const line = (paymentEvents: readonly PaymentEvent[] | null, of = without) =>
      paymentLines([digestFeederFixture(of, { paymentEvents })], yard.zone);
    expect(line([])).toEqual([]);
    expect(line(null)).toEqual([]);
    expect(line([deposit(0)])).toHaveLength(1);
    expect(line(null, feederWithPortions("Rowan"))).toEqual(["Rowan: too many deposits to list."]);
  });
});

describe("the digest that is due", () => {
  it("is sent from its time on, for six hours", () => {
    const due = (time: string) => dueDigest("Europe/Stockholm", "07:30", instantOf(`2026-11-25T${time}+01:00`));
    expect(due("07:29:59")).toBeNull();
    expect(due("07:30:00")).toBe("2026-11-25");
    expect(due("13:29:59")).toBe("2026-11-25");
    expect(due("13:30:00")).toBeNull();
  });

  it("isn't sent twice for a date, nor for an earlier one", () => {
    const due = (last: string) => dueDigest("Europe/Stockholm", "07:30", now, last);
    expect([due("2026-11-24"), due("2026-11-25"), due("2026-11-26")]).toEqual(["2026-11-25", null, null]);
  });
});

describe("wear that can be known", () => {
  it("is claimed as none only of a feeder with numbers: a chute sensor's hundred portions", () => {
    const state = feederWithPortions("Rowan");
    const learnt = (portionsLearnt: number, missedShare = 0.01) =>
      wearLines(
        [
          digestFeederFixture({
            ...state,
            feed: { ...state.feed, chute: { ...state.feed.chute, portionsLearnt, missedShare } },
          }),
        ],
        yard.zone,
        now,
      );
    expect(learnt(99)).toEqual([]);
    expect(learnt(100)).toEqual(["No signs of wear."]);
    expect(learnt(100, 0.059)).toEqual(["No signs of wear."]);
    expect(learnt(100, 0.06)).toEqual(["Rowan: its chute sensor misses about 1 of 17 portions: clean it."]);
  });

  it("is none of a chute sensor that isn't fitted any more", () => {
    const { settings, feed, ...state } = feederWithPortions("Rowan");
    const worn = { ...feed, chute: { ...feed.chute, portionsLearnt: 200, missedShare: 0.1 } };
    const without = { ...settings, sensors: { ...settings.sensors, chute: false } };
    const lines = (of: FeederState) => wearLines([digestFeederFixture(of)], yard.zone, now);
    expect(lines({ ...state, settings, feed: worn })).toHaveLength(1);
    expect(lines({ ...state, settings: without, feed: worn })).toEqual([]);
  });

  it("is nothing of a feeder without numbers beside one with wear", () => {
    const state = feederWithPortions("Rowan");
    const worn = {
      ...state,
      feed: { ...state.feed, chute: { ...state.feed.chute, portionsLearnt: 200, missedShare: 0.1 } },
    };
    expect(
      wearLines([digestFeederFixture(worn), digestFeederFixture(feederWithPortions("Larch"))], yard.zone, now),
    ).toEqual(["Rowan: its chute sensor misses about 1 of 10 portions: clean it."]);
  });
});
