import fc from "fast-check";
import { Temporal } from "temporal-polyfill";
import { describe, expect, it } from "vitest";
import { hours, type Instant, inHours, instant, instantOf, isoOf } from "../../server/domain/instant.ts";
import {
  addLocalDays,
  dateText,
  dayPartText,
  dayText,
  instantOfLocal,
  localDateOf,
  localDaysBetween,
  localTimeOf,
  momentText,
  startOfLocalDay,
  weekdayOf,
} from "../../server/domain/localTime.ts";
import { runs } from "../support/runs.ts";

const utc = (text: string): Instant => instantOf(text.replace("Z", ":00Z"));

/** Check values `tz-*`: computed with Node 20.20.2 Intl, IANA tz 2025c. */
const known: readonly [zone: string, local: string, utc: string][] = [
  ["Europe/Stockholm", "2026-03-28T07:30", "2026-03-28T06:30Z"],
  ["Europe/Stockholm", "2026-03-29T07:30", "2026-03-29T05:30Z"],
  ["Europe/Stockholm", "2026-10-24T07:30", "2026-10-24T05:30Z"],
  ["Europe/Stockholm", "2026-10-25T07:30", "2026-10-25T06:30Z"],
  ["Europe/Stockholm", "2027-03-28T07:30", "2027-03-28T05:30Z"],
  ["Europe/Stockholm", "2027-10-31T07:30", "2027-10-31T06:30Z"],
  ["Europe/Helsinki", "2026-03-28T07:30", "2026-03-28T05:30Z"],
  ["Europe/Helsinki", "2026-03-29T07:30", "2026-03-29T04:30Z"],
  ["Europe/Helsinki", "2026-10-25T07:30", "2026-10-25T05:30Z"],
  ["Atlantic/Reykjavik", "2026-03-29T07:30", "2026-03-29T07:30Z"],
  ["Atlantic/Reykjavik", "2026-10-25T07:30", "2026-10-25T07:30Z"],
  ["America/Anchorage", "2026-03-07T07:30", "2026-03-07T16:30Z"],
  ["America/Anchorage", "2026-03-08T07:30", "2026-03-08T15:30Z"],
];

describe("local time", () => {
  it.each(known)("knows when it is %s %s", (zone, local, expected) => {
    const [date = "", time = ""] = local.split("T");
    expect(isoOf(instantOfLocal(date, time, zone))).toBe(isoOf(utc(expected)));
    expect(localDateOf(utc(expected), zone)).toBe(date);
    expect(localTimeOf(utc(expected), zone)).toBe(time);
  });

  it("reads a time that the clock change leaves out with the offset before it (RFC 5545 3.3.10)", () => {
    // Check value tz-gap-overlap: 02:30 does not exist on this date. With +01:00 it is 01:30Z, which clocks call 03:30.
    const at = instantOfLocal("2026-03-29", "02:30", "Europe/Stockholm");
    expect(isoOf(at)).toBe("2026-03-29T01:30:00.000Z");
    expect(localTimeOf(at, "Europe/Stockholm")).toBe("03:30");
  });

  it("means the first of a doubled time (RFC 5545 3.3.10)", () => {
    // Check value tz-gap-overlap: 00:30Z and 01:30Z are both called 02:30.
    expect(isoOf(instantOfLocal("2026-10-25", "02:30", "Europe/Stockholm"))).toBe("2026-10-25T00:30:00.000Z");
    expect(localTimeOf(utc("2026-10-25T01:30Z"), "Europe/Stockholm")).toBe("02:30");
  });

  it("counts a local day as 23, 24 or 25 hours (check value iso8601-dur: P1D is 23 h there)", () => {
    const lengthOf = (date: string) =>
      inHours(
        (startOfLocalDay(addLocalDays(date, 1), "Europe/Stockholm") -
          startOfLocalDay(date, "Europe/Stockholm")) as never,
      );
    expect([lengthOf("2026-03-28"), lengthOf("2026-03-29"), lengthOf("2026-10-25")]).toEqual([24, 23, 25]);
    const morning = instantOfLocal("2026-03-28", "07:30", "Europe/Stockholm");
    const next = instantOfLocal(addLocalDays("2026-03-28", 1), "07:30", "Europe/Stockholm");
    expect(inHours((next - morning) as never)).toBe(23);
  });

  it("starts a day after midnight where midnight itself is left out", () => {
    // IANA tz: on 2018-11-04 clocks in Sao Paulo went from 00:00 to 01:00 (from memory of the tz source; ICU agrees).
    expect(isoOf(startOfLocalDay("2018-11-04", "America/Sao_Paulo"))).toBe("2018-11-04T03:00:00.000Z");
    expect(localTimeOf(startOfLocalDay("2018-11-04", "America/Sao_Paulo"), "America/Sao_Paulo")).toBe("01:00");
  });

  it("agrees with the platform's own calendar at any moment", () => {
    const zones = ["Europe/Stockholm", "America/Anchorage", "Atlantic/Reykjavik", "Asia/Kathmandu", "Pacific/Chatham"];
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 2_000_000_000 }), fc.constantFrom(...zones), (second, zone) => {
        const at = instant(second * 1_000);
        const options = { timeZone: zone, dateStyle: "short", timeStyle: "short", hourCycle: "h23" } as const;
        // The Swedish locale writes ISO 8601: "2026-03-28 07:30".
        expect(`${localDateOf(at, zone)} ${localTimeOf(at, zone)}`).toBe(
          new Intl.DateTimeFormat("sv", options).format(at),
        );
      }),
    );
  });

  it("names days as people do", () => {
    expect(weekdayOf("2026-12-03")).toBe("Thursday"); // 2026-12-03 is a Thursday by the ISO 8601 calendar
    expect(dateText("2026-12-03", "2026-11-30")).toBe("Thursday 3 December");
    const on = (date: string) => dayText(date, "2026-11-30");
    expect([on("2026-11-30"), on("2026-12-01"), on("2026-11-29"), on("2026-12-03"), on("2026-12-06")]).toEqual([
      "today",
      "tomorrow",
      "yesterday",
      "Thursday",
      "Sunday",
    ]);
    expect([on("2026-12-07"), on("2026-11-25")]).toEqual(["Monday 7 December", "Wednesday 25 November"]);
    expect(momentText(utc("2026-11-29T22:10Z"), "Europe/Stockholm", utc("2026-11-30T06:30Z"))).toBe("yesterday 23:10");
  });

  it("names the year of a date in another year, in every form that names a date", () => {
    const now = utc("2026-11-30T06:30Z");
    expect(dateText("2027-04-17", "2026-11-30")).toBe("Saturday 17 April 2027");
    expect(dayText("2025-11-29", "2026-11-30")).toBe("Saturday 29 November 2025");
    expect(momentText(utc("2027-01-15T08:00Z"), "Europe/Stockholm", now)).toBe("Friday 15 January 2027 09:00");
    expect(dayPartText(utc("2027-04-17T08:00Z"), "Europe/Stockholm", now)).toBe("17 April 2027");
    expect(dayPartText(utc("2026-12-31T20:00Z"), "Europe/Stockholm", now)).toBe("31 December");
    // By the yard's own calendar: half past eleven at night in UTC is next year in Stockholm.
    expect(dayPartText(utc("2026-12-31T23:30Z"), "Europe/Stockholm", now)).toBe("1 January 2027");
    // A day that is named by its distance needs no year.
    expect(dayText("2027-01-01", "2026-12-31")).toBe("tomorrow");
    expect(dayText("2027-01-03", "2026-12-31")).toBe("Sunday");
  });

  it("counts days between dates over a clock change and a leap day", () => {
    expect(localDaysBetween("2026-03-28", "2026-03-30")).toBe(2);
    expect(localDaysBetween("2028-03-01", "2028-02-28")).toBe(-2);
  });

  it("refuses what is no date, time or zone", () => {
    expect(() => instantOfLocal("2026-02-30x", "07:30", "Europe/Stockholm")).toThrow(RangeError);
    expect(() => instantOfLocal("2026-02-28", "25:00", "Europe/Stockholm")).toThrow(RangeError);
    expect(instantOfLocal("2026-02-28", "07:30", "Europe/Nowhere")).toBe(instantOfLocal("2026-02-28", "07:30", "UTC"));
  });
});

describe("a part of the day", () => {
  const zone = "Europe/Stockholm";
  const now = instantOf("2026-11-02T09:00:00Z"); // Monday, 10:00 in Stockholm

  it("calls the small hours last night when they are over, tonight when they are to come", () => {
    const smallHours = instantOf("2026-11-03T01:30:00Z");
    expect(dayPartText(smallHours, zone, now)).toBe("tonight");
    expect(dayPartText(smallHours, zone, instantOf("2026-11-03T08:00:00Z"))).toBe("last night");
  });

  it("counts days by the yard's own calendar, also across the autumn clock change", () => {
    const lateEvening = instantOf("2026-10-24T22:30:00Z"); // 00:30 on the 25th in Stockholm
    expect(dayPartText(instantOf("2026-10-25T22:30:00Z"), zone, lateEvening)).toBe("this evening");
    expect(dayPartText((lateEvening + hours(30)) as Instant, zone, lateEvening)).toBe("tomorrow morning");
  });
});

describe("a local date from remembered offsets", () => {
  // Half hours, three quarters of an hour, a half-hour clock change, a missing day, and zones without any of it.
  const zones = [
    "Europe/Stockholm",
    "Asia/Kathmandu",
    "Pacific/Chatham",
    "Australia/Lord_Howe",
    "Pacific/Apia",
    "America/St_Johns",
    "America/Sao_Paulo",
    "Atlantic/Reykjavik",
    "UTC",
  ];

  it("is what Temporal computes, at any moment since 1972", () => {
    const from = Date.parse("1972-01-02T00:00:00Z");
    const to = Date.parse("2045-01-01T00:00:00Z");
    fc.assert(
      fc.property(fc.integer({ min: from, max: to }), fc.constantFrom(...zones), (at, zone) => {
        const then = Temporal.Instant.fromEpochMilliseconds(at).toZonedDateTimeISO(zone);
        expect(localDateOf(at as Instant, zone)).toBe(then.toPlainDate().toString());
      }),
      { numRuns: runs(1_000) },
    );
  });

  it("is what Temporal computes in the minutes around each midnight and clock change of a year", () => {
    for (const zone of zones) {
      const year = Date.parse("2011-01-01T00:00:00Z"); // the year in which Apia left out a day
      for (let hour = 0; hour < 8_784; hour += 1) {
        for (const at of [year + hour * 3_600_000, year + hour * 3_600_000 - 1]) {
          const then = Temporal.Instant.fromEpochMilliseconds(at).toZonedDateTimeISO(zone);
          if (then.hour > 0 && then.hour < 23) continue;
          expect(localDateOf(at as Instant, zone), `${zone} ${at}`).toBe(then.toPlainDate().toString());
        }
      }
    }
  });
});
