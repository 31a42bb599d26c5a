import type { HistoryView, PortionsView } from "../../server/contract/api.ts";

const minuteMs = 60_000;
const iso = (at: number) => new Date(at).toISOString();

/** Larch's hours before its tray jammed 17 minutes ago: portions of which the last three gave nothing. */
export const portionsViewFixture = (now: number): PortionsView => ({
  feeder: "larch",
  isCut: false,
  portions: Array.from({ length: 14 }, (_, index) => {
    const isEmpty = index >= 11;
    const at = iso(now - (17 + (13 - index) * 22) * minuteMs);
    return {
      at,
      cause: index % 3 === 0 ? "timer" : "press",
      pieces: isEmpty ? 0 : 3 + (index % 4),
      milliamps: isEmpty ? 610 : 400 + 7 * (index % 3),
    };
  }),
});

/** Its scale: falling with each portion, one gap, then still. */
export const hopperHistoryFixture = (now: number): HistoryView => ({
  feeder: "larch",
  zone: "Europe/Stockholm",
  level: "quarter",
  from: iso(now - 360 * minuteMs),
  to: iso(now),
  lengthMinutes: Array.from({ length: 24 }, () => 15),
  columns: {
    hopperGrams: Array.from({ length: 24 }, (_, index) => (index === 9 ? null : 340 - 2 * Math.min(index, 19))),
  },
  standingAlarms: [],
  damaged: 0,
});

const dayMs = 86_400_000;

/** Six weeks of Rowan by day: three days without a report, caps from the third week on, a refill each fortnight, frost in the end. */
export function daysHistoryFixture(now: number, count = 42): HistoryView {
  const start = now - count * dayMs;
  const of = (value: (day: number) => number | null) =>
    Array.from({ length: count }, (_, day) => (day >= 20 && day < 23 ? null : value(day)));
  const grams = (day: number) => 1_100 - 62 * (day % 14);
  const celsius = (day: number) => 6 - day / 4 + 3 * Math.sin(day);
  return {
    feeder: "rowan",
    zone: "Europe/Stockholm",
    level: "day",
    from: iso(start),
    to: iso(now),
    lengthMinutes: Array.from({ length: count }, () => 1_440),
    columns: {
      visits: of((day) => 20 + ((day * 7) % 13)),
      presses: of((day) => 10 + ((day * 5) % 9)),
      deposits: of((day) => (day < 14 ? 0 : (day * 3) % 11)),
      depositsPaid: of((day) => (day < 14 ? 0 : Math.max(0, ((day * 3) % 11) - (day % 9 === 0 ? 2 : 0)))),
      depositsUnpaid: of((day) => (day >= 14 && day % 9 === 0 ? 2 : 0)),
      gramsGiven: of((day) => 40 + ((day * 11) % 17)),
      hopperGrams: of(grams),
      hopperGramsLow: of((day) => grams(day) - 30 - 4 * (day % 14)),
      hopperGramsHigh: of((day) => grams(day) + 30 + 4 * (day % 14)),
      airCelsiusLeast: of((day) => celsius(day) - 4),
      airCelsiusMean: of(celsius),
      airCelsiusMost: of((day) => celsius(day) + 4),
      insideCelsiusLeast: of((day) => celsius(day) - 2),
      batteryVoltsLeast: of((day) => 12.2 - day / 100),
      batteryVoltsMean: of((day) => 12.5 - day / 100),
      batteryVoltsMost: of((day) => 13.1 - day / 200),
    },
    standingAlarms: [],
    refills: Array.from({ length: count }, (_, day) => day)
      .filter((day) => day % 14 === 0 && day > 0)
      .map((bucket) => ({ bucket, grams: bucket % 28 === 0 ? null : 870 })),
    limits: {
      ...{ trayFreezesBelowCelsius: -0.5, trayThawsAboveCelsius: 0.5 },
      battery: {
        ...{ kind: "lithiumIronPhosphate", chargesAboveCelsius: 0, chargesAboveByBoxCelsius: -2 },
        ...{ dischargesAboveCelsius: -30, freezesBelowCelsius: null, restVolts: null },
      },
    },
    damaged: 0,
  };
}

/** Two weeks of visits by hour: in the light alone, most after sunrise. */
function hoursHistoryFixture(now: number): HistoryView {
  const count = 15 * 24;
  const from = now - (now % dayMs) - 14 * dayMs;
  const visits = Array.from({ length: count }, (_, hour) => {
    const ofDay = hour % 24;
    return ofDay < 7 || ofDay > 14 || from + hour * 3_600_000 > now ? 0 : Math.round(9 / (1 + Math.abs(ofDay - 8)));
  });
  return {
    ...daysHistoryFixture(now, 1),
    level: "hour",
    from: iso(from),
    to: iso(from + count * 3_600_000),
    lengthMinutes: Array.from({ length: count }, () => 60),
    columns: { visits },
  };
}

/** As the server answers: by the columns that are asked for. */
export const historyFixture = (now: number, query: URLSearchParams): HistoryView => {
  const columns = query.get("columns") ?? "";
  if (columns === "hopperGrams") return hopperHistoryFixture(now);
  if (columns === "reportedShare") return firstHistoryFixture(now);
  if (columns.includes("timerPortions")) return comparedFixture(now, query);
  if (columns.startsWith("visits,presses,depositsPaid")) return monthHistoryFixture(now, query);
  return columns.startsWith("visits,presses,deposits,depositsPaid")
    ? daysHistoryFixture(now, Number(query.get("points")) - 1)
    : hoursHistoryFixture(now);
};

/** It has reported for half a year. */
const firstHistoryFixture = (now: number): HistoryView => ({
  ...daysHistoryFixture(now, 1),
  from: iso(now - 260 * 14 * dayMs),
  lengthMinutes: Array.from({ length: 260 }, () => 14 * 1_440),
  columns: { reportedShare: Array.from({ length: 260 }, (_, index) => (index < 247 ? null : 1)) },
});

/** A month by day or by hour: each fifth day without a report from noon on, the 13th without any. */
function monthHistoryFixture(now: number, query: URLSearchParams): HistoryView {
  const from = Date.parse(query.get("from") ?? "");
  const isHours = Number(query.get("points")) > 100;
  const step = isHours ? 3_600_000 : dayMs;
  const count = Math.round((Date.parse(query.get("to") ?? "") - from) / step);
  const dayOf = (index: number) => Math.floor((isHours ? index / 24 : index) + 0.01);
  const of = (value: (day: number, hour: number) => number) =>
    Array.from({ length: count }, (_, index) => {
      const [day, hour] = [dayOf(index), isHours ? index % 24 : 0];
      const isUnknown = from + index * step > now || day === 12 || (isHours && day % 5 === 4 && hour >= 12);
      return isUnknown ? null : value(day, hour);
    });
  const lit = (hour: number) => !isHours || (hour >= 8 && hour < 16);
  const each = (most: number) =>
    of((day, hour) => (lit(hour) ? Math.round((most * (1 + ((day * 7 + hour * 3) % 5))) / (isHours ? 8 : 1)) : 0));
  return {
    ...daysHistoryFixture(now, 1),
    level: isHours ? "hour" : "day",
    from: iso(from),
    to: iso(from + count * step),
    lengthMinutes: Array.from({ length: count }, () => step / 60_000),
    columns: {
      ...{ visits: each(8), presses: each(5), depositsPaid: each(3) },
      depositsUnpaid: of((day, hour) => (day % 6 === 2 && (!isHours || hour === 10) ? 1 : 0)),
      ...(!isHours && { gramsGiven: each(11), reportedShare: of(() => 1) }),
    },
  };
}

/** The days of a compared span: fewer visits and colder, the later it is; of Wednesdays nothing is known. */
function comparedFixture(now: number, query: URLSearchParams): HistoryView {
  const from = Date.parse(query.get("from") ?? "");
  const count = Math.round((Date.parse(query.get("to") ?? "") - from) / dayMs);
  const ago = Math.round((now - from) / dayMs);
  const of = (value: (day: number) => number) =>
    Array.from({ length: count }, (_, day) => (day % 7 === 2 || from + day * dayMs > now ? null : value(day)));
  return {
    ...daysHistoryFixture(now, 1),
    from: iso(from),
    to: iso(from + count * dayMs),
    lengthMinutes: Array.from({ length: count }, () => 1_440),
    columns: {
      visits: of((day) => 20 + ago - day),
      presses: of((day) => 10 + (day % 3)),
      deposits: of((day) => 4 + (day % 4)),
      depositsPaid: of((day) => 4 + (day % 4)),
      depositsUnpaid: of(() => 0),
      pressPortions: of((day) => 10 + (day % 3)),
      depositPortions: of((day) => 4 + (day % 4)),
      airCelsiusMean: of((day) => ago / 4 - day / 4 - 4),
    },
  };
}
