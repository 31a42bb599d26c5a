import { describe, expect, it } from "vitest";
import { days, hours, instantOf, before as past } from "../../../server/domain/instant.ts";
import { capsByDay, recentCaps } from "../../../server/domain/training/misplacedCaps.ts";

const zone = "Europe/Stockholm";
const now = instantOf("2026-11-25T06:30:00Z");
const longAgo = past(now, days(40));
const counted = (at: string, caps: number) => ({ at: instantOf(at), caps });

describe("caps on the dish", () => {
  it("are summed by the yard's own day, and a count of none stays one", () => {
    const counts = [
      counted("2026-11-24T23:30:00Z", 2), // half past midnight in Stockholm
      counted("2026-11-24T09:00:00Z", 0),
      counted("2026-11-25T05:00:00Z", 1),
    ];
    expect(capsByDay(counts, zone)).toEqual([
      { date: "2026-11-24", caps: 0 },
      { date: "2026-11-25", caps: 3 },
    ]);
  });

  it("count as recent for five days, today included, and only since the present stage", () => {
    const counts = [
      counted("2026-11-20T22:30:00Z", 4), // the 20th
      counted("2026-11-20T23:30:00Z", 2), // the 21st, the first of the five days
      counted("2026-11-25T06:00:00Z", 1),
    ];
    expect(recentCaps(counts, longAgo, now, zone)).toBe(3);
    expect(recentCaps(counts, past(now, days(2)), now, zone)).toBe(1);
    expect(recentCaps(counts, longAgo, past(now, hours(1)), zone)).toBe(2); // a moment that is still to come
    expect(recentCaps([], longAgo, now, zone)).toBe(0);
  });
});
