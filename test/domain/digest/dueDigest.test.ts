import { describe, expect, it } from "vitest";
import { digestLateMax, dueDigest } from "../../../server/domain/digest/dueDigest.ts";
import { type Instant, instantOf, isoOf, minutes, after as past } from "../../../server/domain/instant.ts";
import { instantOfLocal, localTimeOf, startOfLocalDay } from "../../../server/domain/localTime.ts";

const stockholm = "Europe/Stockholm";

/** Ticks once a UTC minute as the server does, and tells when which date's digest went out. */
function tick(
  zone: string,
  time: string,
  from: string,
  to: string,
  lastDate: string | null = null,
  every = minutes(1),
) {
  const sent: { date: string; at: string }[] = [];
  let last = lastDate;
  for (let now = instantOf(from); now < instantOf(to); now = past(now, every)) {
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
      // The evening before this span was already covered.
      const before = dueDigest(zone, time, instantOf(from)) ?? null;
      const lastDate = before !== null && before < (days[0] ?? "") ? before : null;
      expect(tick(zone, time, from, to, lastDate).map((one) => one.date)).toEqual(days);
    },
  );

  it("is made up for by a server that was off at the time, for six hours and no longer", () => {
    const at = instantOfLocal("2026-11-25", "07:30", stockholm);
    expect(dueDigest(stockholm, "07:30", past(at, minutes(-1)))).toBeNull();
    expect(dueDigest(stockholm, "07:30", at)).toBe("2026-11-25");
    expect(dueDigest(stockholm, "07:30", (at + digestLateMax - 1) as Instant)).toBe("2026-11-25");
    expect(dueDigest(stockholm, "07:30", past(at, digestLateMax))).toBeNull();
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

  // Zones that change their clocks at midnight, so that one date a year begins at one o'clock (tz database, as Temporal has it).
  const withoutMidnight: readonly [zone: string, date: string, days: readonly string[]][] = [
    ["America/Asuncion", "2023-10-01", ["2023-09-30", "2023-10-01", "2023-10-02"]],
    ["Asia/Beirut", "2026-03-29", ["2026-03-28", "2026-03-29", "2026-03-30"]],
    ["Africa/Cairo", "2026-04-24", ["2026-04-23", "2026-04-24", "2026-04-25"]],
    ["America/Havana", "2026-03-08", ["2026-03-07", "2026-03-08", "2026-03-09"]],
  ];
  it.each(withoutMidnight)("comes exactly once a date in %s, where %s has no midnight", (zone, date, days) => {
    expect(localTimeOf(startOfLocalDay(date, zone), zone)).toBe("01:00"); // the case is there
    const [first = "", , last = ""] = days;
    for (const time of ["00:00", "00:30", "01:00", "07:30", "23:59"]) {
      const from = isoOf(instantOfLocal(first, time, zone));
      const to = isoOf(past(instantOfLocal(last, time, zone), minutes(5)));
      expect(
        tick(zone, time, from, to).map((one) => one.date),
        time,
      ).toEqual(days);
    }
  });

  it("comes once where a whole date is left out, and not for the date that never was", () => {
    // Samoa had no 30 December 2011.
    const sent = tick("Pacific/Apia", "07:30", "2011-12-29T12:00Z", "2012-01-01T12:00Z", "2011-12-28");
    expect(sent.map((one) => one.date)).toEqual(["2011-12-29", "2011-12-31", "2012-01-01"]);
  });

  /** Lives through days in which the keeper changes settings, each from a moment on. */
  function live(
    changes: readonly { from: string; zone: string; time: string }[],
    to: string,
    off?: [string, string],
    every = minutes(1),
  ) {
    const sent: { date: string; at: string }[] = [];
    let last: string | null = null;
    const first = changes[0];
    if (first === undefined) throw new Error("expected a first setting");
    for (let now = instantOf(first.from); now < instantOf(to); now = past(now, every)) {
      if (off !== undefined && instantOf(off[0]) <= now && now < instantOf(off[1])) continue;
      const { zone, time } = changes.findLast(({ from }) => instantOf(from) <= now) ?? first;
      const date = dueDigest(zone, time, now, last);
      if (date === null) continue;
      sent.push({ date, at: isoOf(now).slice(0, 16) });
      last = date;
    }
    return sent;
  }

  it("follows a time that is changed during the day, with one a date: later, earlier, and to what has just passed", () => {
    const days = (first: string, change: string, second: string) =>
      live(
        [
          { from: "2026-11-24T00:00Z", zone: stockholm, time: first },
          { from: change, zone: stockholm, time: second },
        ],
        "2026-11-26T23:00Z",
      );
    expect(days("07:30", "2026-11-25T08:00Z", "18:00").map(({ at }) => at)).toEqual([
      "2026-11-24T06:30",
      "2026-11-25T06:30", // sent already, so that 18:00 brings no second one
      "2026-11-26T17:00",
    ]);
    expect(days("18:00", "2026-11-25T08:00Z", "07:30").map(({ at }) => at)).toEqual([
      "2026-11-24T17:00",
      "2026-11-25T08:00", // its new time has passed an hour and a half ago: at once
      "2026-11-26T06:30",
    ]);
    expect(days("22:00", "2026-11-25T21:30Z", "06:00").map(({ date }) => date)).toEqual([
      "2026-11-23", // made up for after midnight
      "2026-11-24",
      "2026-11-25",
      "2026-11-26",
    ]);
  });

  it("never comes twice for a date, nor for an older one, when the yard's zone is changed to either side", () => {
    for (const [before, after] of [
      [stockholm, "America/Anchorage"],
      [stockholm, "Pacific/Auckland"],
      ["Pacific/Auckland", "America/Anchorage"],
      ["Pacific/Kiritimati", "Pacific/Pago_Pago"], // a day apart by name at the same hour
      ["Pacific/Pago_Pago", "Pacific/Kiritimati"],
    ] as const) {
      for (let hour = 0; hour < 24; hour += 4) {
        const dates = live(
          [
            { from: "2026-11-23T00:00Z", zone: before, time: "07:30" },
            { from: isoOf(past(instantOf("2026-11-25T00:00Z"), minutes(60 * hour))), zone: after, time: "07:30" },
          ],
          "2026-11-28T00:00Z",
          undefined,
          minutes(10),
        ).map(({ date }) => date);
        expect(dates, `${before} to ${after} at ${hour}`).toEqual([...new Set(dates)].sort());
        expect(dates.length).toBeGreaterThanOrEqual(3);
      }
    }
  });

  it("is late within six hours of a server that was off, and else waits for the next day, also over a clock change", () => {
    const settings = [{ from: "2026-10-24T00:00Z", zone: stockholm, time: "02:30" }];
    // 02:30 comes twice on the 25th: at 00:30Z and 01:30Z. Whoever was off at the first gets it no second time at the second.
    expect(live(settings, "2026-10-26T12:00Z", ["2026-10-25T00:00Z", "2026-10-25T01:10Z"])).toEqual([
      { date: "2026-10-24", at: "2026-10-24T00:30" },
      { date: "2026-10-25", at: "2026-10-25T01:10" },
      { date: "2026-10-26", at: "2026-10-26T01:30" },
    ]);
    expect(
      live(settings, "2026-10-26T12:00Z", ["2026-10-25T00:00Z", "2026-10-25T06:31Z"]).map(({ date }) => date),
    ).toEqual(["2026-10-24", "2026-10-26"]);
  });
});
