import { describe, expect, it } from "vitest";
import {
  monthQueries,
  monthWeeks,
  nextMonth,
  previousMonth,
  stripHours,
  totalOf,
} from "../../client/charts/monthDays.ts";
import type { HistoryView } from "../../server/contract/api.ts";
import { historyRequest, historySpanOf } from "../../server/contract/historyRequest.ts";
import { planHistory } from "../../server/domain/history/historyPlan.ts";
import { historyFixture } from "./evidenceFixture.ts";

const zone = "Europe/Stockholm";
const yard = { zone, place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 } };
const now = Date.parse("2026-11-24T15:20:00+01:00");

const answerTo = (query: ReturnType<typeof monthQueries>[number]): HistoryView =>
  historyFixture(now, new URLSearchParams({ ...query, points: String(query.points) }));

function november() {
  const [byDay, ...byHour] = monthQueries("rowan", "2026-11", zone, "2026-11-24").map(answerTo);
  if (byDay === undefined) throw new Error("expected a query by day");
  return monthWeeks({ month: "2026-11", yard, now }, byDay, byHour);
}

describe("a month of days", () => {
  it("is asked for by whole days and whole hours in each month, over both changes of the clock", () => {
    for (let month = "2026-01"; month < "2027-01"; month = nextMonth(month)) {
      const queries = monthQueries("rowan", month, zone, "2027-06-01");
      const plans = queries.map(({ from, to, points, columns }) => {
        const span = historySpanOf(historyRequest.parse({ from, to, points, columns }));
        return { ...planHistory({ ...span, zone }), asked: { from, to } };
      });
      expect([month, plans.map(({ level }) => level)]).toEqual([month, ["day", "hour", "hour"]]);
      const [days, ...hours] = plans;
      expect(days?.starts.length).toBe(new Date(Date.UTC(2026, Number(month.slice(5)), 0)).getUTCDate());
      const hourCount = ((days?.to ?? 0) - (days?.from ?? 0)) / 3_600_000;
      expect([month, hours.reduce((sum, { starts }) => sum + starts.length, 0)]).toEqual([month, hourCount]);
    }
  });

  it("asks for no hours that are to come", () => {
    expect(monthQueries("rowan", "2026-11", zone, "2026-11-16")).toHaveLength(2);
    expect(monthQueries("rowan", "2026-11", zone, "2026-11-17")).toHaveLength(3);
    expect([nextMonth("2026-12"), previousMonth("2026-01")]).toEqual(["2027-01", "2025-12"]);
  });

  it("has the newest day first, in weeks from Monday on, and no day to come", () => {
    const weeks = november();
    expect(weeks.map(({ monday }) => monday)).toEqual([
      "2026-11-23",
      "2026-11-16",
      "2026-11-09",
      "2026-11-02",
      "2026-10-26",
    ]);
    expect(weeks.map(({ days }) => days.length)).toEqual([2, 7, 7, 7, 1]);
    expect(weeks[0]?.days[0]?.date).toBe("2026-11-24");
    expect(weeks[0]?.days[0]?.hours.at(-1)?.hour).toBe(15); // the hour that runs
  });

  it("keeps what is not known apart from nothing, and says of how many days a week's sums are", () => {
    const days = november().flatMap((week) => week.days);
    const thirteenth = days.find(({ date }) => date === "2026-11-13");
    expect(thirteenth?.figures).toEqual({ visits: null, presses: null, paid: null, unpaid: null, grams: null });
    expect(thirteenth?.hours.every(({ counts }) => counts === null)).toBe(true);
    expect(days.find(({ date }) => date === "2026-11-12")?.figures.unpaid).toBe(0);
    expect(november()[2]?.knownDays).toBe(6);
    expect(
      totalOf([
        { visits: 3, presses: null, paid: 0, unpaid: null, grams: 2 },
        { visits: null, presses: null, paid: 1, unpaid: null, grams: 5 },
      ]),
    ).toEqual({
      ...{ visits: 3, presses: null, paid: 1, unpaid: null, grams: 7 },
    });
  });

  it("shows the hours with light and those in which something was, and all of them where the light isn't known", () => {
    expect(stripHours(november(), zone)).toEqual([6, 17]);
    const [week] = november();
    const day = week?.days[0];
    if (week === undefined || day === undefined) throw new Error("expected a week");
    const atNight = { ...day, hours: [{ hour: 22, counts: { visits: 1, presses: 0, paid: 0, unpaid: 0 } }] };
    expect(stripHours([{ ...week, days: [atNight] }], zone)[1]).toBe(23);
    expect(stripHours([{ ...week, days: [{ ...day, light: null }] }], zone)).toEqual([0, 24]);
  });
});
