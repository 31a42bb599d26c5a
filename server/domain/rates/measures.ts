import { perDayRule, perFeederWeekMost, staleRule, tenMinutesMost } from "./ceilings.ts";
import type { Rates } from "./rates.ts";

/** One measure beside its ceiling, in words and figures. */
export interface Measure {
  readonly name: string;
  readonly value: string;
  readonly ceiling: string | null; // null where there is none
  readonly over: boolean;
}

/** Ours, for a phone, come first; then the standard's. */
export function measuresOf(rates: Rates): readonly Measure[] {
  const { rangPerFeederWeek, perFeederWeek, perDay, worstTenMinutes, raised, unanswered, stale } = rates;
  const answered = raised.filter(({ acknowledgedAt }) => acknowledgedAt !== null).length;
  const perDayWords = `${perDayRule.acceptable} very likely acceptable, ${perDayRule.most} at most`;
  const aWeek = (name: string, value: number) =>
    line(name, figure(value), `${perFeederWeekMost} at most`, value > perFeederWeekMost);
  const none = (name: string, { length }: readonly unknown[]) => line(name, `${length}`, "0", length > 0);
  return [
    ...(rangPerFeederWeek === null ? [] : [aWeek("Pushes that rang, a week at each feeder", rangPerFeederWeek)]),
    aWeek("Alarms raised, a week at each feeder", perFeederWeek),
    line("Alarms a day, on average", figure(perDay), perDayWords, perDay > perDayRule.most),
    line("Most within ten minutes", `${worstTenMinutes}`, `${tenMinutesMost}`, worstTenMinutes > tenMinutesMost),
    none("Floods: more than ten within ten minutes", rates.floods),
    none("Chattering alarms", rates.chattering),
    none("Fleeting alarms", rates.fleeting),
    line(
      "Standing for more than a day, now",
      `${stale.length}`,
      `fewer than ${staleRule.below}`,
      stale.length >= staleRule.below,
    ),
    line("Acknowledged", `${answered} of ${raised.length}`),
    line("Over, and never acknowledged", `${unanswered.length}`),
    line("Notes for the digest, no alarms", `${rates.notes.length}`),
  ];
}

function line(name: string, value: string, ceiling: string | null = null, over = false): Measure {
  return { name, value, ceiling, over };
}

/** Two figures are enough, and a rate that isn't nothing must not read as nothing. */
function figure(value: number): string {
  if (value === 0) return "0";
  if (value < 0.01) return "under 0.01";
  return `${Number(value.toPrecision(2))}`;
}
