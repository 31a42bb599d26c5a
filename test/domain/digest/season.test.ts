import { describe, expect, it } from "vitest";
import { composeDigest } from "../../../server/domain/digest/digest.ts";
import { seasonWeather } from "../../../server/domain/digest/seasonWeather.ts";
import { texts } from "../../../server/text/index.ts";
import { airBetween, date, digestFeederFixture, feederWithPortions, now, yard } from "./digestFeederFixture.ts";

const felt = (...air: Parameters<typeof airBetween>) =>
  digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: airBetween(...air) });

describe("the season in the digest", () => {
  it("knows hard frost by the night ahead, of half of the feeders at least", () => {
    expect(seasonWeather([felt(-11, -3)], now).hardFrost).toBe(true);
    expect(seasonWeather([felt(-9, -3)], now).hardFrost).toBe(false);
    expect(seasonWeather([felt(-14, -3), felt(-2, 3), felt(-2, 3)], now).hardFrost).toBe(false);
  });

  it("knows a wet and warm day by air and humidity together", () => {
    expect(seasonWeather([felt(11, 17, 92)], now).wetWarm).toBe(true);
    expect(seasonWeather([felt(11, 17, 80)], now).wetWarm).toBe(false); // a usual summer's day
    expect(seasonWeather([felt(4, 9, 95)], now).wetWarm).toBe(false);
  });

  it("states nothing of the weather without readings, nor by a feeder that isn't in the garden", () => {
    const none = { hardFrost: false, wetWarm: false };
    expect(seasonWeather([digestFeederFixture(feederWithPortions("Rowan"))], now)).toEqual(none);
    const few = airBetween(11, 17, 95).slice(0, 11);
    expect(seasonWeather([digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: few })], now)).toEqual(
      none,
    );
    const stored = feederWithPortions("Rowan", 1_500, 10, { placement: "putAway" });
    expect(seasonWeather([digestFeederFixture(stored, { recentReadings: airBetween(11, 17, 95) })], now)).toEqual(none);
  });

  it("comes last in the digest, is no task, and never part of the push", () => {
    const without = composeDigest(yard, [felt(4, 9)], date, now);
    const digest = composeDigest(yard, [felt(4, 9)], date, now, ["nestlings"]);
    expect(digest.sections.at(-1)).toEqual({
      heading: "This season",
      lines: [texts.season.reminders.nestlings],
    });
    expect({ title: digest.title, short: digest.short }).toEqual({ title: without.title, short: without.short });
    expect(without.sections.map(({ heading }) => heading)).not.toContain("This season");
  });
});
