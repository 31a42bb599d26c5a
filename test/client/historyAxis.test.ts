import { describe, expect, it } from "vitest";
import { historyDays, knownRuns, weeklyMeans, weeksByHour } from "../../client/charts/historyAxis.ts";
import { timeText } from "../../client/text/clock.ts";
import { daysHistoryFixture } from "./evidenceFixture.ts";

const zone = "Europe/Stockholm";
const iso = (at: string) => new Date(at).toISOString();

describe("a history by day", () => {
  it("names each bucket by its local date, over the change of the clock", () => {
    const from = iso("2026-10-24T00:00:00+02:00"); // the night of 25 October has an hour more
    const days = historyDays({ ...daysHistoryFixture(0), from, lengthMinutes: [1_440, 1_500, 1_440] }, zone);
    expect(days.map(({ date }) => date)).toEqual(["2026-10-24", "2026-10-25", "2026-10-26"]);
  });

  it("bridges no gap, in lines nor in means: planted", () => {
    expect(knownRuns([1, 2, null, null, 3, null])).toEqual([[0, 1], [4]]);
    expect(weeklyMeans([2, 4, 6, 8, null, 10])).toEqual([null, null, null, 5, null, 6]);
    expect(weeklyMeans([2, null, 4, null, 6])).toEqual([null, null, null, null, null]); // three of seven say too little
  });
});

it("acts by hour are those of the last seven days and of the seven before, by the local clock", () => {
  const now = Date.parse("2026-12-15T12:00:00+01:00");
  const from = now - 15 * 86_400_000;
  const hours = Array.from({ length: 15 * 24 }, () => 60);
  const counts = hours.map((_, index) => (index < 24 ? 100 : index % 24 === 20 ? 2 : index % 24 === 21 ? null : 0));
  const hourOf = (at: number) => Number(timeText(new Date(at).toISOString(), zone).slice(0, 2));
  const { week, before } = weeksByHour(
    { from: new Date(from).toISOString(), lengthMinutes: hours },
    counts,
    now,
    hourOf,
  );
  // The twentieth hour after noon is eight in the morning; older than two weeks counts nowhere.
  expect([week[8], before[8], week[9]]).toEqual([14, 14, 0]);
  expect([...week, ...before].reduce((sum, count) => sum + count, 0)).toBe(28);
});
