import { describe, expect, it } from "vitest";
import type { DigestFeeder } from "../../../server/domain/digest/digestFeeder.ts";
import { nightForecast } from "../../../server/domain/digest/nightForecast.ts";
import { weatherLines } from "../../../server/domain/digest/weatherText.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { hours, before as past } from "../../../server/domain/instant.ts";
import { celsius, humidityPercent, milliamps, volts } from "../../../server/domain/units.ts";
import {
  airBetween,
  digestFeederFixture,
  feederWithPortions,
  now,
  readingsOf,
  withAlarm,
} from "./digestFeederFixture.ts";

const linesOf = (felt: DigestFeeder["recentReadings"], state: FeederState = feederWithPortions("Rowan")) =>
  weatherLines([digestFeederFixture(state, { recentReadings: felt })], now);

const wet = (state: FeederState): FeederState => {
  const { cold } = state;
  const water = { at: past(now, hours(3)), cause: "dew" as const, isEstimated: false, drySince: null };
  return {
    ...state,
    cold: { ...cold, frost: { ...cold.frost, wetness: { ...cold.frost.wetness, wet: water } } },
  };
};

describe("the night ahead in the digest", () => {
  it("is expected as the last one was where the air hasn't changed", () => {
    expect(
      nightForecast(digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: airBetween(-6, -1) }), now)
        ?.lowest,
    ).toBeCloseTo(-6, 5);
    expect(linesOf(airBetween(-6, -1, 60))).toEqual(["Frost likely, about −6 °C."]);
    expect(linesOf(airBetween(4, 9))).toEqual(["No frost likely, about 4 °C."]);
  });

  it("follows half of what the air has changed since yesterday", () => {
    const cooling = readingsOf((ago) => ({ air: celsius(-2 + ago / 3) })); // 8 °C colder within the day
    expect(
      nightForecast(digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: cooling }), now)?.lowest,
    ).toBeCloseTo(-6, 5);
  });

  it("expects it warmer than the last one where the air has become warmer, and colder where it has become colder", () => {
    const ahead = (perDay: number) => {
      const felt = readingsOf((ago) => ({
        ...{ air: celsius(2 + perDay * (1 - ago / 24)), lid: celsius(-1 + perDay * (1 - ago / 24)) },
        ...{ batteryTemperature: celsius(5 + perDay * (1 - ago / 24)), charge: milliamps(300) },
      }));
      const night = nightForecast(digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: felt }), now);
      if (night === null) throw new Error("expected a night ahead");
      return night;
    };
    // Half of six degrees in a day goes on, for all that lies out in it; the lid was three degrees below the air.
    const warmer = ahead(6);
    const rounded = (...values: (number | null)[]) => values.map((value) => value && Math.round(1_000 * value) / 1_000);
    expect(rounded(warmer.lowest, warmer.surface, warmer.battery, warmer.chargedAt)).toEqual([5, 2, 8, 8]);
    const colder = ahead(-6);
    expect(rounded(colder.lowest, colder.surface, colder.battery, colder.chargedAt)).toEqual([-7, -10, -4, -4]);
    expect([warmer.warmest, colder.warmest]).toEqual([8, 2]);
  });

  it("calculates the day's change from eighteen hours of readings", () => {
    const felt = readingsOf((ago) => ({ air: celsius(ago > 18 ? 0 : (18 - ago) / 3) })).slice(-19); // 6 °C in 18 hours
    expect(
      nightForecast(digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: felt }), now)?.lowest,
    ).toBeCloseTo(4, 9);
  });

  it("reports frost on the feeders where the air is damp enough for it, and hard frost", () => {
    expect(linesOf(airBetween(-4, 3, 97))).toEqual(["Frost likely on the feeders, air about −4 °C."]);
    expect(linesOf(airBetween(-14, -11, 50))).toEqual(["Hard frost likely, about −14 °C."]);
  });

  it("knows that a lid comes below the air, by its own thermometer or else under a clear sky", () => {
    const lid = readingsOf((ago) => ({ air: celsius(2), lid: celsius(ago === 3 ? -2 : 1) }));
    expect(linesOf(lid)).toEqual(["A lid may come below freezing, air about 2 °C."]);
    expect(linesOf(airBetween(1, 8, 40))).toEqual(["A lid may come below freezing, air about 1 °C."]);
    expect(linesOf(airBetween(1, 4, 40))).toEqual(["No frost likely, about 1 °C."]);
  });

  it("warns of ice where water would freeze, unless the alarm does already or the night stays mild", () => {
    const ice = "Rowan: it is wet: tray and slot may freeze tonight.";
    expect(linesOf(airBetween(-4, 3, 60), wet(feederWithPortions("Rowan")))).toContain(ice);
    expect(linesOf(airBetween(3, 6, 60), wet(feederWithPortions("Rowan")))).not.toContain(ice);
    expect(linesOf(airBetween(-4, 3, 60), withAlarm(wet(feederWithPortions("Rowan")), "iceLock", now))).not.toContain(
      ice,
    );
  });

  it("reports food that freezes and thaws", () => {
    const state = feederWithPortions("Rowan");
    const caking = { ...state.cold.caking, freezeThaw: { isFrozen: false, cycles: 3 } };
    const often = { ...state, cold: { ...state.cold, caking } };
    expect(linesOf(airBetween(-4, 3, 60), often)).toContain(
      "Rowan: its food has frozen and thawed 3 times since the refill.",
    );
    expect(linesOf(airBetween(-9, -4, 60), often)).toHaveLength(1); // no thaw in it
  });

  it("warns of a lead battery that may freeze, and else states what the cold takes from it", () => {
    const state = feederWithPortions("Rowan", 1_500, 10, { battery: "leadAcid" });
    const rested = (voltage: number) => ({
      ...state,
      cold: { ...state.cold, battery: { ...state.cold.battery, lowestVoltage: volts(voltage) } },
    });
    expect(linesOf(inBox(-12), rested(11.8))).toContain(
      "Rowan: its battery may come near its freezing point: charge it today, or bring it in.",
    );
    expect(linesOf(inBox(-12), rested(12.7))).toContain(
      "Rowan: in this cold the battery gives less than two thirds of its capacity.",
    );
    expect(linesOf(inBox(20), rested(12.7))).toHaveLength(1);
  });

  it("warns of a lithium battery that would be charged in frost, and not of one that isn't charged", () => {
    const state = feederWithPortions("Rowan", 1_500, 10, { battery: "lithiumIon" });
    const words = "Rowan: its lithium battery may be charged below 0 °C: disconnect the charger until it is warmer.";
    expect(linesOf(inBox(-5, 300), state)).toContain(words);
    expect(linesOf(inBox(-5, 0), state)).not.toContain(words);
    expect(linesOf(inBox(5, 300), state)).not.toContain(words);
  });

  it("states that there is not enough data without a thermometer, without reports for hours, or with a part of the day only", () => {
    const nothing = ["Not enough temperature data."];
    expect(linesOf([])).toEqual(nothing);
    expect(linesOf(airBetween(4, 9).filter(({ at }) => at < past(now, hours(4))))).toEqual(nothing);
    expect(linesOf(airBetween(4, 9).slice(-15))).toEqual(nothing);
    expect(linesOf(airBetween(4, 9), withAlarm(feederWithPortions("Rowan"), "feederSilent", now))).toEqual(nothing);
  });

  it("has one line for the yard, not changed by one thermometer in the sun", () => {
    const feeders = [
      digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: airBetween(-6, -1, 60) }),
      digestFeederFixture(feederWithPortions("Larch"), { recentReadings: airBetween(-5, -1, 60) }),
      digestFeederFixture(feederWithPortions("Aspen"), { recentReadings: airBetween(9, 30, 20) }),
    ];
    expect(weatherLines(feeders, now)).toEqual(["Frost likely, about −5 °C."]);
  });
});

const inBox = (degrees: number, charge = 0) =>
  readingsOf(() => ({
    inside: celsius(degrees),
    batteryTemperature: celsius(degrees),
    humidity: humidityPercent(40),
    charge: milliamps(charge),
  }));
