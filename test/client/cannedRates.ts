import type { RatesView } from "../../server/contract/api.ts";

/** A month of Alder Croft's alarms, as the server would tell of it at a given moment. */
export function ratesView(now: number, change: Partial<RatesView> = {}): RatesView {
  const dayMs = 86_400_000;
  const date = (back: number) => new Date(now - back * dayMs).toISOString().slice(0, 10);
  const standard = "ANSI/ISA-18.2-2016, clause 16; IEC 62682:2014; EEMUA 191";
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
      {
        name: "Alarms raised, a week at each feeder",
        value: "1.6",
        ceiling: { words: "1 at most", source: "Pieward's design", status: "ours" },
        over: true,
      },
      {
        name: "Alarms a day, on average",
        value: "0.47",
        ceiling: { words: "144 very likely acceptable, 288 at most", source: standard, status: "from memory" },
        over: false,
      },
      {
        name: "Chattering alarms",
        value: "0",
        ceiling: { words: "0", source: standard, status: "seen in a public copy" },
        over: false,
      },
      { name: "Shelved", value: "2", ceiling: null, over: false },
    ],
    loaders: [
      { name: "ice on tray and slot likely, Rowan", alarms: 9, sharePercent: 64 },
      { name: "food low, Larch", alarms: 5, sharePercent: 36 },
    ],
    priorities: [
      {
        name: "act now",
        annunciated: 0,
        annunciatedPercent: 0,
        configured: 11,
        configuredPercent: 50,
        standardPercent: 5,
      },
      {
        name: "act today",
        annunciated: 14,
        annunciatedPercent: 100,
        configured: 11,
        configuredPercent: 50,
        standardPercent: 15,
      },
    ],
    floods: [
      {
        from: new Date(now - 18 * dayMs).toISOString(),
        to: new Date(now - 18 * dayMs + 900_000).toISOString(),
        alarms: 11,
      },
    ],
    standing: [{ name: "scale silent, Larch", since: new Date(now - 3 * dayMs).toISOString() }],
    ...change,
  };
}
