import type { YardView } from "../../server/contract/api.ts";
import type { HourSpan } from "../charts/hoursDrawing.tsx";
import { now } from "../state/clock.ts";
import { currentDate, findDay, loadDay } from "../state/days.ts";
import { timeText } from "../text/clock.ts";
import { useLoad } from "./useLoad.ts";

/** The hours of night of today, by the yard's clock; none where the light there is not known. It comes with the day of a feeder. */
export function useNights({ feeders, zone }: YardView): readonly HourSpan[] {
  const [feeder] = feeders;
  const id = feeder?.id ?? "";
  const date = currentDate(id, now.value, zone);
  const known = findDay(id, date);
  useLoad(
    async () => (id === "" || known !== null ? { kind: "ok", value: null } : await loadDay(id, date)),
    [id, date],
  );
  return (known?.view.light ?? []).filter(({ kind }) => kind === "night").flatMap((span) => hoursOf(span, zone));
}

/** A night goes over midnight: as two spans of one local day. */
function hoursOf(span: { readonly from: string; readonly to: string }, zone: string): readonly HourSpan[] {
  const hour = (at: string) => {
    const [hours = 0, minutes = 0] = timeText(at, zone).split(":").map(Number);
    return hours + minutes / 60;
  };
  const [from, to] = [hour(span.from), hour(span.to)];
  if (from < to) return [{ from, to }];
  return [
    { from: 0, to },
    { from, to: 24 },
  ];
}
