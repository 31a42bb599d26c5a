import type { TrainingView } from "../../server/contract/trainingView.ts";
import { localDate, shiftDate } from "../text/clock.ts";

/**
 * The days of a training record from left to right, in CSS pixels. The pictures of days share it, so that one day is at one place in
 * each. Behind today there is room for the usual time of the present stage, at most two weeks of it. It is never shorter than two weeks: the
 * first days are at its beginning, and not as large as a page.
 */
export interface DayAxis {
  readonly dates: readonly string[]; // one for each slot
  readonly dayCount: number; // of the record; the slots behind are days to come
  readonly width: number;
  readonly step: number;
  readonly x: (slot: number) => number; // the middle of a slot
  readonly slotAt: (x: number) => number;
  readonly slotOf: (date: string) => number; // may lie outside
}

export const edges = { left: 42, right: 6 } as const;
const futureDaysMax = 14;
const slotsMin = 14;
const dayMs = 86_400_000;

export function dayAxis(view: TrainingView, zone: string, width: number): DayAxis {
  const first = view.days[0]?.date ?? "";
  const slotOf = (date: string) => Math.round((Date.parse(date) - Date.parse(first)) / dayMs);
  const last = view.days.at(-1)?.date ?? first;
  const end = usualTime(view, zone)?.to ?? last;
  const future = Math.max(0, Math.min(futureDaysMax, slotOf(end) - slotOf(last)));
  const count = Math.max(slotsMin, slotOf(last) + 1 + future);
  const step = (width - edges.left - edges.right) / Math.max(1, count);
  return {
    dates: Array.from({ length: count }, (_, slot) => shiftDate(first, slot)),
    dayCount: slotOf(last) + 1,
    ...{ width, step, slotOf },
    x: (slot) => edges.left + (slot + 0.5) * step,
    slotAt: (x) => Math.max(0, Math.min(count - 1, Math.floor((x - edges.left) / step))),
  };
}

/** The dates between which the present stage usually ends; null where none was started. */
export function usualTime(view: TrainingView, zone: string): { readonly from: string; readonly to: string } | null {
  const period = view.periods.find(({ to }) => to === null);
  const stage = view.stages.find(({ id }) => id === period?.stage);
  if (period === undefined || stage === undefined) return null;
  const start = localDate(Date.parse(period.from), zone);
  return { from: shiftDate(start, stage.usualDays.from), to: shiftDate(start, stage.usualDays.to) };
}

/** The record's day in a slot. Days without any report may be missing from it. */
export const dayInSlot = (view: TrainingView, axis: DayAxis, slot: number) =>
  view.days.find(({ date }) => date === axis.dates[slot]);
