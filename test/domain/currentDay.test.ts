import { describe, expect, it } from "vitest";
import { currentDay, dayExtent } from "../../server/domain/currentDay.ts";
import { after, hours, instantOf, isoOf, minutes } from "../../server/domain/instant.ts";
import { addLocalDays, localDateOf } from "../../server/domain/localTime.ts";
import type { Place } from "../../server/domain/settings.ts";

const zone = "Europe/Stockholm";
const alder: Place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const north: Place = { latitudeDegrees: 69, longitudeDegrees: 20 };

/** Days whose every hour is tried: winter, midsummer, polar night and midnight sun, both clock changes, and no place. */
const tried: readonly (readonly [string, Place | null, string])[] = [
  ["a winter day", alder, "2026-12-10T00:00:00Z"],
  ["midsummer", alder, "2026-06-20T00:00:00Z"],
  ["the polar night", north, "2026-12-21T00:00:00Z"],
  ["the midnight sun", north, "2026-06-21T00:00:00Z"],
  ["the spring change", alder, "2026-03-28T12:00:00Z"],
  ["the autumn change", alder, "2026-10-24T12:00:00Z"],
  ["a yard whose place isn't known", null, "2026-10-24T12:00:00Z"],
];

describe("today", () => {
  it.each(tried)("holds the last minute and ends at now, at each hour of %s", (_name, place, start) => {
    const yard = { place, zone };
    for (let hour = 0; hour <= 48; hour++) {
      const now = after(instantOf(start), (hours(hour) + minutes(17)) as never);
      const moment = isoOf(now);
      const { date, until } = currentDay(yard, now);
      const page = dayExtent(yard, date, now);
      expect(page.from, moment).toBeLessThan(now);
      expect(page.to, moment).toBeGreaterThanOrEqual(now);
      expect(page.text, moment).toMatch(/^From (sunset|midnight|midnight by the sun) \(.*\) until now\./);
      expect(until, moment).toBeGreaterThan(now);
      expect(until - now, moment).toBeLessThanOrEqual(hours(26));
      // By the calendar it is today, or the evening before that midsummer's dusk hasn't ended yet.
      const today = localDateOf(now, zone);
      expect([today, addLocalDays(today, -1)], moment).toContain(date);
      expect(currentDay(yard, until).date, moment).toBe(addLocalDays(date, 1));
      // Back and forward again: pages join without a gap, and the one after today hasn't begun to be shown.
      const [before, beforeThat] = [-1, -2].map((back) => dayExtent(yard, addLocalDays(date, back), now));
      expect(before?.to, moment).toBe(page.from);
      expect(beforeThat?.to, moment).toBe(before?.from);
      expect(before?.text, moment).not.toMatch(/now/);
    }
  });

  it("keeps its evening in its own date", () => {
    const yard = { place: alder, zone };
    const at = (time: string) => dayExtent(yard, "2026-12-10", instantOf(`2026-12-10T${time}:00Z`)).text;
    expect(at("11:00")).toMatch(/^From sunset \(yesterday 15:\d\d\) until now\.$/);
    expect(at("19:00")).toMatch(
      /^From sunset \(yesterday 15:\d\d\) until now\. Events after today's sunset \(15:\d\d\) belong to the next day\.$/,
    );
    const past = dayExtent(yard, "2026-12-09", instantOf("2026-12-10T19:00:00Z")).text;
    expect(past).toMatch(/^From sunset \(Tuesday 8 December 15:\d\d\) to sunset \(yesterday 15:\d\d\)\.$/);
  });
});
