import type { RatesView } from "../../server/contract/api.ts";

/** A month of Alder Croft's alarms, as the server would tell of it at a given moment. */
export function ratesView(now: number, change: Partial<RatesView> = {}): RatesView {
  const dayMs = 86_400_000;
  const date = (back: number) => new Date(now - back * dayMs).toISOString().slice(0, 10);
  return {
    yard: "alder-croft",
    from: new Date(now - 30 * dayMs).toISOString(),
    to: new Date(now).toISOString(),
    words: [
      "14 alarms in 30 days at 2 feeders: 1.6 a week at each. Besides, 6 notes for the digest, which call nobody.",
    ],
    findings: [
      "1.6 alarms were raised a week at each feeder. More than one teaches a keeper not to look.",
      "“Ice on tray and slot likely” at Rowan makes two thirds of all alarms (9 of 14): it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
    ],
    days: Array.from({ length: 31 }, (_, index) => ({
      date: date(30 - index),
      urgent: index === 12 ? 11 : index === 20 ? 1 : 0,
      soon: index % 4 === 1 ? 1 : index === 22 ? 3 : 0,
      notes: index % 5 === 0 ? 1 : 0,
    })),
    measures: [
      { name: "Alarms raised, a week at each feeder", value: "1.6", ceiling: "1 at most", over: true },
      {
        name: "Alarms a day, on average",
        value: "0.47",
        ceiling: "144 very likely acceptable, 288 at most",
        over: false,
      },
      { name: "Chattering alarms", value: "0", ceiling: "0", over: false },
      { name: "Acknowledged", value: "12 of 14", ceiling: null, over: false },
    ],
    loaders: [
      { name: "ice on tray and slot likely, Rowan", alarms: 9, sharePercent: 64 },
      { name: "food low, Larch", alarms: 5, sharePercent: 36 },
    ],
    standing: [{ name: "scale silent, Larch", since: new Date(now - 3 * dayMs).toISOString() }],
    ...change,
  };
}
