import { Body, Equator, Horizon, MakeTime, Observer, SearchAltitude, SearchRiseSet } from "astronomy-engine";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { after, days, hours, type Instant, instant, instantOf, isoOf } from "../../server/domain/instant.ts";
import type { Place } from "../../server/domain/settings.ts";
import { civilDaylightHours, duskToDusk, lightAt, lightSpans } from "../../server/domain/sun.ts";
import { values } from "../references/checkValues.json";

/**
 * Check values sun-* of test/references/checkValues.json, by astronomy-engine; times of 2026, UTC. Tolerance 60 s, 120 s where
 * the noon is below 1° or civil twilight grazes -6°. The places are invented.
 */
const checkValues = values.flatMap(({ id, inputs, expected }) =>
  id.startsWith("sun-") ? [sunValue(id, inputs as SunInputs, (expected as SunExpected).astronomy_engine)] : [],
);
interface SunInputs {
  readonly lat: number;
  readonly lon: number;
  readonly date: string;
}
type SunTurns = Readonly<Record<"rise" | "set" | "cdawn" | "cdusk", string | null> & { noonAlt: number }>;
interface SunExpected {
  readonly astronomy_engine: SunTurns;
}
function sunValue(id: string, { lat, lon, date }: SunInputs, { rise, set, cdawn, cdusk, noonAlt }: SunTurns) {
  return { id, at: [lat, lon] as const, date, dawn: cdawn, rise, set, dusk: cdusk, noonAltitude: noonAlt };
}

const place = (latitudeDegrees: number, longitudeDegrees: number): Place => ({ latitudeDegrees, longitudeDegrees });
const alder = place(59.5, 17.8);
const moment = (text: string): Instant => instantOf(`2026-${text}Z`);

/** The turns of light around the noon of a date, as our spans tell them. */
function turnsOf(at: Place, date: string) {
  const noon = instant(Date.parse(`${date}T12:00:00Z`) - (at.longitudeDegrees / 360) * days(1));
  const spans = lightSpans(at, after(noon, hours(-12)), after(noon, hours(12)));
  const turn = (from: string, to: string) => {
    const index = spans.findIndex((span, i) => span.kind === to && spans[i - 1]?.kind === from);
    return index < 0 ? null : (spans[index]?.from ?? null);
  };
  return {
    dawn: turn("night", "twilight"),
    rise: turn("twilight", "day"),
    set: turn("day", "twilight"),
    dusk: turn("twilight", "night"),
  };
}

describe("the light", () => {
  for (const check of checkValues) {
    it(`turns when it should: ${check.id}`, () => {
      const tolerance = check.noonAltitude < 1 || check.id === "sun-cembra-2026-05-10" ? 120_000 : 60_000;
      const turns = turnsOf(place(check.at[0], check.at[1]), check.date);
      for (const turn of ["dawn", "rise", "set", "dusk"] as const) {
        const expected = check[turn];
        if (expected === null) expect(turns[turn], turn).toBeNull();
        else expect(Math.abs((turns[turn] ?? 0) - moment(expected)), turn).toBeLessThanOrEqual(tolerance);
      }
    });
  }

  it("agrees with astronomy-engine through a year, from the south to beyond the polar circle", () => {
    let compared = 0;
    let differed = 0;
    for (const latitude of [-54, -20, 12, 47, 59.5, 66, 71]) {
      for (let day = 0; day < 365; day += 13) {
        const date = isoOf(after(instantOf("2026-01-01T00:00:00Z"), days(day))).slice(0, 10);
        const at = place(latitude, 17.8);
        const observer = new Observer(latitude, 17.8, 0);
        const start = new Date(Date.parse(`${date}T12:00:00Z`) - (17.8 / 360 + 0.5) * days(1));
        const turns = turnsOf(at, date);
        const oracle = {
          rise: SearchRiseSet(Body.Sun, observer, 1, start, 1),
          set: SearchRiseSet(Body.Sun, observer, -1, start, 1),
          dawn: SearchAltitude(Body.Sun, observer, 1, start, 1, -6),
          dusk: SearchAltitude(Body.Sun, observer, -1, start, 1, -6),
        };
        for (const turn of ["dawn", "rise", "set", "dusk"] as const) {
          const expected = oracle[turn];
          const ours = turns[turn];
          if (expected === null || ours === null) {
            if (expected !== null || ours !== null) differed++; // whether it comes at all may differ on a grazing day
            continue;
          }
          compared++;
          expect(Math.abs(ours - expected.date.getTime()), `${latitude}° ${date} ${turn}`).toBeLessThanOrEqual(120_000);
        }
      }
    }
    expect(compared).toBeGreaterThan(600);
    expect(differed).toBeLessThanOrEqual(2);
  });

  it("follows from the sun's altitude, at any moment and at any place but the poles", () => {
    fc.assert(
      fc.property(
        fc.double({ min: -85, max: 85, noNaN: true }),
        fc.double({ min: -180, max: 180, noNaN: true }),
        fc.integer({ min: Date.UTC(2024, 0, 1), max: Date.UTC(2034, 0, 1) }),
        (latitude, longitude, at) => {
          const altitude = trueAltitude(latitude, longitude, at);
          // A tenth of a degree either way is a minute or less of the sun's path, and more where it grazes.
          fc.pre(Math.abs(altitude + 6) > 0.5 && Math.abs(altitude + 0.833) > 0.5);
          const expected = altitude > -0.833 ? "day" : altitude > -6 ? "twilight" : "night";
          expect(lightAt(place(latitude, longitude), instant(at))).toBe(expected);
        },
      ),
      { numRuns: 2_000 },
    );
  });

  it("tells the midnight sun from the polar night, which both lack a sunrise", () => {
    const north = place(78, 16);
    expect(lightSpans(north, moment("06-20T00:00:00"), moment("06-23T00:00:00")).map((span) => span.kind)).toEqual([
      "day",
    ]);
    expect(lightSpans(north, moment("12-20T00:00:00"), moment("12-23T00:00:00")).map((span) => span.kind)).toEqual([
      "night",
    ]);
  });

  it("comes in spans without gap or overlap that tell the same as a single moment does", () => {
    fc.assert(
      fc.property(
        fc.double({ min: -80, max: 80, noNaN: true }),
        fc.double({ min: -180, max: 180, noNaN: true }),
        fc.integer({ min: Date.UTC(2026, 0, 1), max: Date.UTC(2027, 0, 1) }),
        fc.integer({ min: 1, max: 5 * days(1) }),
        (latitude, longitude, start, length) => {
          const at = place(latitude, longitude);
          const from = instant(start);
          const to = instant(start + length);
          const spans = lightSpans(at, from, to);
          expect(spans[0]?.from).toBe(from);
          expect(spans.at(-1)?.to).toBe(to);
          spans.forEach((span, i) => {
            expect(span.to).toBeGreaterThan(span.from);
            expect(lightAt(at, span.from)).toBe(span.kind);
            expect(lightAt(at, instant(span.to - 1))).toBe(span.kind);
            const next = spans[i + 1];
            if (next) {
              expect(next.from).toBe(span.to);
              expect(next.kind).not.toBe(span.kind);
            }
          });
        },
      ),
    );
  });

  it("refuses a stretch that ends before it begins", () => {
    expect(() => lightSpans(alder, moment("06-02T00:00:00"), moment("06-01T00:00:00"))).toThrow("from <= to");
  });
});

describe("civil daylight", () => {
  it("lasts from civil dawn to civil dusk (sun-alder-2026-12-21: 06:49:49 to 14:43:50)", () => {
    const lit = civilDaylightHours(alder, moment("12-21T00:00:00"), moment("12-22T00:00:00"));
    expect(lit).toBeCloseTo(7 + 54 / 60 + 1 / 3600, 1);
  });

  it("goes on for five hours where the sun never rises (sun-drift-2026-12-21)", () => {
    expect(civilDaylightHours(place(68.4, 18.1), moment("12-21T00:00:00"), moment("12-22T00:00:00"))).toBeCloseTo(
      5.1,
      1,
    );
  });

  it("is all of the day where dusk never comes, and none of a deep polar night", () => {
    expect(civilDaylightHours(place(63.8, 20.3), moment("06-20T12:00:00"), moment("06-22T12:00:00"))).toBe(48);
    expect(civilDaylightHours(place(78, 16), moment("12-20T00:00:00"), moment("12-23T00:00:00"))).toBe(0);
  });

  it("adds up: the parts of a stretch are the whole", () => {
    const [from, middle, to] = [moment("03-01T03:00:00"), moment("03-04T16:20:00"), moment("03-09T00:00:00")];
    const parts = civilDaylightHours(alder, from, middle) + civilDaylightHours(alder, middle, to);
    expect(parts).toBeCloseTo(civilDaylightHours(alder, from, to), 9);
  });
});

describe("the day's ribbon", () => {
  it("runs from the dusk before to the dusk of the date (sun-alder-2026-12-21)", () => {
    const { from, to } = duskToDusk(alder, "Europe/Stockholm", "2026-12-21");
    expect(Math.abs(to - moment("12-21T14:43:50"))).toBeLessThan(60_000);
    expect(Math.abs(from - moment("12-20T14:43:20"))).toBeLessThan(90_000);
  });

  it("holds the daylight of its local date also where the UTC date is another", () => {
    const dateLine = place(-44, -176.5); // 12:45 ahead of UTC
    const { from, to } = duskToDusk(dateLine, "Pacific/Chatham", "2026-03-10");
    const noon = instantOf("2026-03-10T12:00:00+13:45");
    expect(from).toBeLessThan(noon - hours(6));
    expect(to).toBeGreaterThan(noon + hours(6));
  });

  it("goes from solar midnight to solar midnight where dusk never comes (sun-birch-2026-06-21)", () => {
    const { from, to } = duskToDusk(place(63.8, 20.3), "Europe/Stockholm", "2026-06-21");
    expect(Math.abs(from - moment("06-20T22:40:30"))).toBeLessThan(120_000); // 12 h before the solar noon of 10:40:36
    expect(Math.abs(to - from - days(1))).toBeLessThan(60_000);
  });

  it("ends where the next one begins, all year and everywhere", () => {
    for (const latitude of [-60, 0, 59.5, 63.8, 68.4, 80]) {
      let { to } = duskToDusk(place(latitude, 17.8), "Europe/Stockholm", "2025-12-31");
      for (let day = 0; day < 365; day++) {
        const date = isoOf(after(instantOf("2026-01-01T00:00:00Z"), days(day))).slice(0, 10);
        const ribbon = duskToDusk(place(latitude, 17.8), "Europe/Stockholm", date);
        expect(ribbon.from, `${latitude}° ${date}`).toBe(to);
        expect(ribbon.to).toBeGreaterThan(ribbon.from);
        to = ribbon.to;
      }
    }
  });

  it("runs by the clock where the place isn't known, 23 hours on the day the clock springs forward", () => {
    const { from, to } = duskToDusk(null, "Europe/Stockholm", "2026-03-29");
    expect(isoOf(from)).toBe("2026-03-28T23:00:00.000Z");
    expect(to - from).toBe(hours(23));
  });

  it("refuses what is no date", () => {
    expect(() => duskToDusk(alder, "Europe/Stockholm", "2026-02-30")).toThrow(RangeError);
  });
});

/** Geometric altitude of the sun's centre, degrees, by astronomy-engine. */
function trueAltitude(latitude: number, longitude: number, at: number): number {
  const time = MakeTime(new Date(at));
  const observer = new Observer(latitude, longitude, 0);
  const { ra, dec } = Equator(Body.Sun, time, observer, true, true);
  return Horizon(time, observer, ra, dec).altitude;
}
