import type { RatesView } from "../../server/contract/api.ts";

/** A month of Alder Croft's alarms, as the server returns them at a given time. */
export function ratesViewFixture(now: number, change: Partial<RatesView> = {}): RatesView {
  const dayMs = 86_400_000;
  const date = (back: number) => new Date(now - back * dayMs).toISOString().slice(0, 10);
  return {
    yard: "alder-croft",
    from: new Date(now - 30 * dayMs).toISOString(),
    to: new Date(now).toISOString(),
    texts: ["14 alarms in 30 days at 2 feeders: 1.6 a week at each. 6 notes in the daily digest."],
    findings: [
      "More than one alarm a week at each feeder is too many: people stop reading them.",
      "“Ice on tray and slot likely” at Rowan makes 9 of 14 alarms: it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
    ],
    days: Array.from({ length: 31 }, (_, index) => ({
      date: date(30 - index),
      urgent: index === 12 ? 11 : index === 20 ? 1 : 0,
      soon: index % 4 === 1 ? 1 : index === 22 ? 3 : 0,
      notes: index % 5 === 0 ? 1 : 0,
    })),
    acknowledgedCount: 12,
    frequentAlarms: [
      { name: "ice on tray and slot likely, Rowan", alarmCount: 9, sharePercent: 64 },
      { name: "food low, Larch", alarmCount: 5, sharePercent: 36 },
    ],
    ...change,
  };
}
