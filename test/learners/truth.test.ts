import { describe, expect, it } from "vitest";
import { associativeSite } from "./associative.ts";
import { insightSite } from "./insight.ts";
import { liveDays, someConditions, truthDeviation } from "./liveDays.ts";
import { losesSite } from "./loses.ts";
import { neverLearnsSite } from "./neverLearns.ts";
import { socialSite } from "./social.ts";
import { comingInWeather, type DayWeather, drawWeather, weatherAt } from "./weather.ts";

const makers = { associativeSite, insightSite, socialSite, neverLearnsSite, losesSite };
const sitesOf = (make: (typeof makers)["insightSite"]) => Array.from({ length: 10 }, (_, index) => make(index + 1));

describe.each(Object.entries(makers))("the truth of %s", (_, make) => {
  it.each(["comeForFood", "pressForFood", "dropCap"] as const)("is what happens on average: %s", (stage) => {
    const { deviation, boutsRatio } = truthDeviation(sitesOf(make), someConditions({ stage }), 20);
    expect(Math.abs(deviation)).toBeLessThan(4);
    expect(boutsRatio).toBeGreaterThan(0.9);
    expect(boutsRatio).toBeLessThan(1.1);
  });
});

describe("the check of the truth", () => {
  it("finds a truth that is a fifth too high", () => {
    const conditions = someConditions({ stage: "comeForFood" });
    const { deviation, happened } = truthDeviation(sitesOf(associativeSite), conditions, 25, 1.2);
    expect(happened).toBeGreaterThan(1_000);
    expect(deviation).toBeLessThan(-4);
  });
});

describe("the weather", () => {
  const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
  const dayMean = ({ hourly }: DayWeather) => hourly.reduce((sum, one) => sum + one.airCelsius, 0) / hourly.length;
  const monthMean = (month: string, south = false) => {
    const where = south ? { ...place, latitudeDegrees: -38 } : place;
    const days = Array.from({ length: 28 }, (_, index) => `2026-${month}-${String(index + 1).padStart(2, "0")}`);
    return days.reduce((sum, date) => sum + dayMean(drawWeather(1, where, "UTC", date)), 0) / days.length;
  };

  it("is warm in each half of the earth's own summer", () => {
    expect(monthMean("07")).toBeGreaterThan(monthMean("01") + 10);
    expect(monthMean("01", true)).toBeGreaterThan(monthMean("07", true) + 8);
  });

  it("brings fewer birds in wind, rain and heat, and more in frost", () => {
    const mild = { airCelsius: 12, windMetersPerSecond: 2, rainMillimeters: 0 };
    expect(comingInWeather(mild)).toBe(1);
    expect(comingInWeather({ ...mild, windMetersPerSecond: 12 })).toBeLessThan(0.7);
    expect(comingInWeather({ ...mild, rainMillimeters: 2 })).toBeLessThan(0.7);
    expect(comingInWeather({ ...mild, airCelsius: 35 })).toBeLessThan(0.7);
    expect(comingInWeather({ ...mild, airCelsius: -8 })).toBeGreaterThan(1.2);
  });

  it("is the same for a date whatever was asked before", () => {
    const first = drawWeather(5, place, "Europe/Stockholm", "2026-10-25");
    drawWeather(5, place, "Europe/Stockholm", "2026-10-24");
    expect(drawWeather(5, place, "Europe/Stockholm", "2026-10-25")).toEqual(first);
    expect(first.hourly).toHaveLength(25);
    expect(weatherAt(first, first.from)).toEqual(first.hourly[0]);
  });
});

describe("hours of the day", () => {
  it("bring most visits in the morning, over all sites", () => {
    const conditions = someConditions({ stage: "comeForFood", freePortions: 0 });
    const hours = sitesOf(associativeSite).flatMap((site) =>
      liveDays(site, "2026-09-10", 20, conditions).flatMap(({ events, weather }) =>
        events
          .filter(({ kind }) => kind === "visit")
          .map(({ recordedAt }) => (recordedAt - (weather[0]?.at ?? 0)) / 3_600_000),
      ),
    );
    const countBetween = (from: number, to: number) => hours.filter((hour) => hour >= from && hour < to).length;
    const [morning, noon, evening] = [countBetween(0, 11), countBetween(11, 15.5), countBetween(15.5, 24)];
    expect(hours.length).toBeGreaterThan(1_000);
    expect(morning).toBeGreaterThan(1.2 * Math.max(noon, evening));
  });
});
