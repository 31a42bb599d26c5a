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
