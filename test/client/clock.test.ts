import { describe, expect, it } from "vitest";
import {
  agoText,
  approximateMomentText,
  dayText,
  localDate,
  momentText,
  shiftDate,
  zonedInstant,
} from "../../client/text/clock.ts";

const zone = "Europe/Stockholm";
const now = Date.parse("2026-11-25T13:20:00Z"); // a Wednesday, 14:20 there

describe("the text of a time", () => {
  it("is only the time on the same day", () => {
    expect(momentText("2026-11-25T13:05:00Z", now, zone)).toBe("14:05");
  });

  it("takes the day from the yard's time zone, not from UTC", () => {
    expect(momentText("2026-11-24T23:30:00Z", now, zone)).toBe("00:30");
    expect(momentText("2026-11-24T22:30:00Z", now, zone)).toBe("yesterday at 23:30");
  });

  it("names the next days and dates the past ones", () => {
    expect(dayText("2026-11-26", "2026-11-25")).toBe("tomorrow");
    expect(dayText("2026-11-28", "2026-11-25")).toBe("Saturday");
    expect(dayText("2026-11-12", "2026-11-25")).toBe("Thu 12 Nov");
    expect(dayText("2026-12-02", "2026-11-25")).toBe("Wed 2 Dec"); // a week on, its weekday's name would mislead
  });

  it("rounds a duration as a person would", () => {
    const ago = (minutes: number) => agoText(new Date(now - minutes * 60_000).toISOString(), now);
    expect(ago(0.4)).toBe("just now");
    expect(ago(1)).toBe("1 minute ago");
    expect(ago(42)).toBe("42 minutes ago");
    expect(ago(121)).toBe("2 hours ago");
    expect(ago(60 * 50)).toBe("2 days ago");
    expect(ago(-5)).toBe("just now"); // the phone's clock is behind the server's
  });
});

describe("the calendar of a yard", () => {
  it("steps over a clock change without losing a day", () => {
    expect(shiftDate("2026-10-25", -1)).toBe("2026-10-24");
    expect(shiftDate("2026-03-29", 1)).toBe("2026-03-30");
    expect(localDate(Date.parse("2026-12-31T23:30:00Z"), zone)).toBe("2027-01-01");
  });

  // Europe's clocks change at 01:00 UTC on the last Sundays of March and October (Directive 2000/84/EC).
  it("finds the morning on either side of a clock change", () => {
    expect(zonedInstant("2026-11-26", "07:00", zone)).toBe("2026-11-26T06:00:00.000Z");
    expect(zonedInstant("2026-07-01", "07:00", zone)).toBe("2026-07-01T05:00:00.000Z");
    expect(zonedInstant("2026-10-25", "07:00", zone)).toBe("2026-10-25T06:00:00.000Z");
    expect(zonedInstant("2026-10-25", "01:00", zone)).toBe("2026-10-24T23:00:00.000Z");
    expect(zonedInstant("2026-03-29", "07:00", zone)).toBe("2026-03-29T05:00:00.000Z");
  });

  it("takes the earlier of two equal local times, and a near one for a time that does not exist", () => {
    expect(zonedInstant("2026-10-25", "02:30", zone)).toBe("2026-10-25T00:30:00.000Z");
    expect(
      Math.abs(Date.parse(zonedInstant("2026-03-29", "02:30", zone)) - Date.parse("2026-03-29T01:00:00Z")),
    ).toBeLessThanOrEqual(3_600_000);
  });
});

describe("the time of a forecast", () => {
  const now = Date.parse("2026-11-25T09:10:00Z"); // a Wednesday, 10:10 in Stockholm
  const momentText = (at: string) => approximateMomentText(at, now, "Europe/Stockholm");

  it("is no finer than a forecast is", () => {
    expect(momentText("2026-11-25T13:22:41Z")).toBe("about 14:30");
    expect(momentText("2026-11-26T10:34:00Z")).toBe("tomorrow morning");
    expect(momentText("2026-11-27T15:34:00Z")).toBe("Friday afternoon");
    expect(momentText("2026-11-28T02:00:00Z")).toBe("Saturday before dawn");
    expect(momentText("2026-12-02T18:34:00Z")).toBe("Wed 2 Dec");
    expect(momentText("2027-04-17T08:34:00Z")).toBe("Sat 17 Apr 2027");
  });

  it("is exact to the minute once it is no forecast any more", () => {
    expect(momentText("2026-11-25T08:03:00Z")).toBe("09:03");
  });
});
