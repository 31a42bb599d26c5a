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
      "1.6 alarms per week and feeder. With more than one, people stop reading them.",
      "“Ice on tray and slot likely” at Rowan makes two thirds of all alarms (9 of 14): it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
    ],
    days: Array.from({ length: 31 }, (_, index) => ({
      date: date(30 - index),
      urgent: index === 12 ? 11 : index === 20 ? 1 : 0,
      soon: index % 4 === 1 ? 1 : index === 22 ? 3 : 0,
      notes: index % 5 === 0 ? 1 : 0,
    })),
    measures: [
      { name: "Alarms raised, a week at each feeder", value: "1.6", limit: "1 at most", isOverLimit: true },
      {
        name: "Alarms a day, on average",
        value: "0.47",
        limit: "144 very likely acceptable, 288 at most",
        isOverLimit: false,
      },
      { name: "Chattering alarms", value: "0", limit: "0", isOverLimit: false },
      { name: "Acknowledged", value: "12 of 14", limit: null, isOverLimit: false },
    ],
    frequentAlarms: [
      { name: "ice on tray and slot likely, Rowan", alarmCount: 9, sharePercent: 64 },
      { name: "food low, Larch", alarmCount: 5, sharePercent: 36 },
    ],
    standing: [{ name: "scale silent, Larch", since: new Date(now - 3 * dayMs).toISOString() }],
    ...change,
  };
}
