import type { PlannedDayView, PlanView } from "../../server/contract/planView.ts";

/** Two weeks of Rowan's plan from this moment's day on, invented: eight times by daylight, and two more in frost. */
export function planViewFixture(now: number, change: Partial<PlanView> = {}): PlanView {
  const today = Math.floor(now / dayMs) * dayMs;
  return {
    version: 3,
    confirmedVersion: 3,
    reportedAt: iso(now - 60_000),
    problem: null,
    portionGrams: 2,
    days: Array.from({ length: 14 }, (_, index) => plannedDay(today + index * dayMs)),
    todayText: "Free food today: 4 portions so far, as planned.",
    seasonText: null,
    ...change,
  };
}

const dayMs = 86_400_000;
const hourMs = 3_600_000;
const iso = (ms: number) => new Date(ms).toISOString();

const plannedDay = (begin: number): PlannedDayView => ({
  date: iso(begin).slice(0, 10),
  light: "usual",
  lit: { from: iso(begin + 6.5 * hourMs), to: iso(begin + 15 * hourMs) },
  free: [7.2, 8.1, 9.5, 9.8, 11.2, 12, 13.1, 13.9].map((hour) => iso(begin + hour * hourMs)),
  portionsEach: 1,
  frost: [8.6, 12.9].map((hour) => iso(begin + hour * hourMs)),
  portionsMax: 15,
  share: 1,
  stretchedMinutes: null,
});
