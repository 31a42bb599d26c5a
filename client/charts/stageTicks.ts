import type { TrainingView } from "../../server/contract/trainingView.ts";
import { dayText, localDate } from "../text/clock.ts";
import type { HistoryDay } from "./historyAxis.ts";

/** A stage of the programme that began on one of the days that are shown. */
export interface StageStart {
  readonly place: number;
  readonly name: string;
  /** From the longest to the shortest: number, name and date, then without the date, then the number alone. */
  readonly names: readonly string[];
}

export function stageStarts(
  view: TrainingView | null,
  days: readonly HistoryDay[],
  today: string,
  zone: string,
): readonly StageStart[] {
  return (view?.periods ?? []).flatMap(({ stage, name, from }) => {
    const date = localDate(Date.parse(from), zone);
    const place = days.find((day) => day.date === date)?.index;
    if (place === undefined || view === null) return [];
    const number = view.stages.findIndex(({ id }) => id === stage) + 1;
    const numbered = number === 0 ? name : `${number} ${name}`;
    return [{ place, name, names: [`${numbered}, ${dayText(date, today)}`, numbered, numbered.split(" ")[0] ?? ""] }];
  });
}
