import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { dayOf, hourOf, quarterOf } from "../../../server/domain/history/rollupSpans.ts";
import { hours, type Instant, instant, instantOf, isoOf, minutes } from "../../../server/domain/instant.ts";
import { addLocalDays, localDateOf, startOfLocalDay } from "../../../server/domain/localTime.ts";
import { zones } from "./rollupFixture.ts";

const moment = fc
  .integer({ min: instantOf("2015-01-01T00:00:00Z"), max: instantOf("2040-01-01T00:00:00Z") })
  .map((at) => instant(at));
const zone = fc.constantFrom(...zones);
const isoSpan = ({ from, to }: { readonly from: Instant; readonly to: Instant }) => [isoOf(from), isoOf(to)];

describe("the spans of roll-ups", () => {
  it("are days of 23 and 25 hours where the clock changes", () => {
    const lengthOn = (iso: string) => {
      const { from, to } = dayOf(instantOf(iso), "Europe/Stockholm");
      return to - from;
    };
    expect(lengthOn("2026-03-29T12:00:00Z")).toBe(hours(23));
    expect(lengthOn("2026-10-25T12:00:00Z")).toBe(hours(25));
    expect(lengthOn("2026-10-26T12:00:00Z")).toBe(hours(24));
  });

  it("are hours of the local clock, also where the zone is three quarters off", () => {
    expect(isoSpan(hourOf(instantOf("2026-11-02T06:10:00Z"), "Asia/Kathmandu"))).toEqual([
      "2026-11-02T05:15:00.000Z",
      "2026-11-02T06:15:00.000Z",
    ]);
  });

  it("end with a short hour on a day that is half an hour longer", () => {
    // Lord Howe Island sets its clock back by half an hour at 02:00 on 5 April 2026 (IANA tz database).
    const zone = "Australia/Lord_Howe";
    const day = dayOf(instantOf("2026-04-05T00:00:00Z"), zone);
    expect(day.to - day.from).toBe(hours(24.5));
    const last = hourOf(instant(day.to - 1), zone);
    expect(last.to - last.from).toBe(minutes(30));
    expect(last.to).toBe(day.to);
  });

  it("begin where the calendar says", () => {
    fc.assert(
      fc.property(moment, zone, (at, zone) => {
        const date = localDateOf(at, zone);
        expect(isoSpan(dayOf(at, zone))).toEqual([
          isoOf(startOfLocalDay(date, zone)),
          isoOf(startOfLocalDay(addLocalDays(date, 1), zone)),
        ]);
      }),
      { numRuns: 120 },
    );
  });

  it("begin where the calendar says near each change of the clock", () => {
    for (const zone of zones) {
      for (
        let at = instantOf("2026-03-01T00:30:00Z");
        at < instantOf("2026-04-10T00:00:00Z");
        at = instant(at + hours(6))
      ) {
        const date = localDateOf(at, zone);
        expect(isoOf(dayOf(at, zone).from), `${zone} ${isoOf(at)}`).toBe(isoOf(startOfLocalDay(date, zone)));
      }
    }
  });

  it("lie within one another: a quarter in one hour, an hour in one day", () => {
    fc.assert(
      fc.property(moment, zone, (at, zone) => {
        const [quarter, hour, day] = [quarterOf(at), hourOf(at, zone), dayOf(at, zone)];
        for (const [inner, outer] of [
          [quarter, hour],
          [hour, day],
        ] as const) {
          expect(inner.from).toBeGreaterThanOrEqual(outer.from);
          expect(inner.to).toBeLessThanOrEqual(outer.to);
        }
        expect(quarter.from).toBeLessThanOrEqual(at);
        expect(quarter.to).toBeGreaterThan(at);
      }),
      { numRuns: 120 },
    );
  });

  it("have UTC where a zone can't be used", () => {
    const at = instantOf("2026-11-02T06:10:00Z");
    expect(dayOf(at, "Nowhere/None")).toEqual(dayOf(at, "UTC"));
  });
});
