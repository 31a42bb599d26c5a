import { describe, expect, it } from "vitest";
import { digestLateness, dueDigest } from "../../../server/domain/digest/due.ts";
import { type Instant, instantOf, isoOf, minutes, after as past } from "../../../server/domain/instant.ts";
import { instantOfLocal } from "../../../server/domain/localTime.ts";

const stockholm = "Europe/Stockholm";

/** Ticks once a UTC minute as the server does, and tells when which date's digest went out. */
function tick(zone: string, time: string, from: string, to: string, lastDate: string | null = null) {
  const sent: { date: string; at: string }[] = [];
  let last = lastDate;
  for (let now = instantOf(from); now < instantOf(to); now = past(now, minutes(1))) {
    const date = dueDigest(zone, time, now, last);
    if (date === null) continue;
    sent.push({ date, at: isoOf(now).slice(0, 16) });
    last = date;
  }
  return sent;
}

describe("the digest", () => {
  it("comes at half past seven by the yard's own clock on both sides of the spring change", () => {
    // Times from check value tz-Europe/Stockholm (Node Intl, tz 2025c).
    expect(tick(stockholm, "07:30", "2026-03-27T13:00Z", "2026-03-29T12:00Z")).toEqual([
      { date: "2026-03-28", at: "2026-03-28T06:30" },
      { date: "2026-03-29", at: "2026-03-29T05:30" },
    ]);
  });

  it("comes at half past seven on both sides of the autumn change", () => {
    expect(tick(stockholm, "07:30", "2026-10-23T12:00Z", "2026-10-25T12:00Z")).toEqual([
      { date: "2026-10-24", at: "2026-10-24T05:30" },
      { date: "2026-10-25", at: "2026-10-25T06:30" },
    ]);
  });

  it("comes an hour later by name where its time is left out, and once where its time is doubled", () => {
    expect(tick(stockholm, "02:30", "2026-03-28T12:00Z", "2026-03-29T12:00Z")).toEqual([
      { date: "2026-03-29", at: "2026-03-29T01:30" },
    ]);
    expect(tick(stockholm, "02:30", "2026-10-24T12:00Z", "2026-10-25T12:00Z")).toEqual([
      { date: "2026-10-25", at: "2026-10-25T00:30" },
    ]);
  });

  // Clock changes: Stockholm 2026-03-29 and 2026-10-25 at 01:00Z, Anchorage 2026-03-08 and 2026-11-01 at 02:00 local.
  const changes: readonly [zone: string, days: readonly string[], from: string, to: string][] = [
    [stockholm, ["2026-03-28", "2026-03-29", "2026-03-30"], "2026-03-27T23:00Z", "2026-03-30T22:00Z"],
    [stockholm, ["2026-10-24", "2026-10-25", "2026-10-26"], "2026-10-23T22:00Z", "2026-10-26T23:00Z"],
    ["America/Anchorage", ["2026-03-07", "2026-03-08", "2026-03-09"], "2026-03-07T09:00Z", "2026-03-10T08:00Z"],
    ["America/Anchorage", ["2026-10-31", "2026-11-01", "2026-11-02"], "2026-10-31T08:00Z", "2026-11-03T09:00Z"],
    ["Atlantic/Reykjavik", ["2026-03-28", "2026-03-29", "2026-03-30"], "2026-03-28T00:00Z", "2026-03-31T00:00Z"],
  ];
  const times = ["00:00", "01:30", "02:00", "02:30", "03:00", "07:30", "23:59"];
  it.each(changes.flatMap(([zone, days, from, to]) => times.map((time) => ({ zone, days, from, to, time }))))(
    "comes exactly once a date in $zone from $from at $time",
    ({ zone, days, from, to, time }) => {
      // The evening before this span is already told.
      const before = dueDigest(zone, time, instantOf(from)) ?? null;
      const lastDate = before !== null && before < (days[0] ?? "") ? before : null;
      expect(tick(zone, time, from, to, lastDate).map((one) => one.date)).toEqual(days);
    },
  );

  it("is made up for by a server that was off at the time, for six hours and no longer", () => {
    const at = instantOfLocal("2026-11-25", "07:30", stockholm);
    expect(dueDigest(stockholm, "07:30", past(at, minutes(-1)))).toBeNull();
    expect(dueDigest(stockholm, "07:30", at)).toBe("2026-11-25");
    expect(dueDigest(stockholm, "07:30", (at + digestLateness - 1) as Instant)).toBe("2026-11-25");
    expect(dueDigest(stockholm, "07:30", past(at, digestLateness))).toBeNull();
  });

  it("may be made up for past midnight, and still belongs to its own date", () => {
    const night = instantOfLocal("2026-11-26", "01:00", stockholm);
    expect(dueDigest(stockholm, "22:00", night)).toBe("2026-11-25");
    expect(dueDigest(stockholm, "22:00", night, "2026-11-25")).toBeNull();
  });

  it("is not sent twice when the keeper moves its time to later the same day", () => {
    const noon = instantOfLocal("2026-11-25", "12:00", stockholm);
    expect(dueDigest(stockholm, "12:00", noon, "2026-11-25")).toBeNull();
  });

  it("is not sent for an older date after the yard's zone was changed to the west", () => {
    const at = instantOfLocal("2026-11-25", "07:30", "America/Anchorage");
    expect(dueDigest("America/Anchorage", "07:30", at, "2026-11-26")).toBeNull();
    expect(dueDigest("America/Anchorage", "07:30", at, "2026-11-24")).toBe("2026-11-25");
  });
});
