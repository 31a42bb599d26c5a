import { perDayRule, perFeederWeekMost, staleRule, tenMinutesMost } from "./ceilings.ts";
import type { AlarmRates } from "./rates.ts";

/** One measure beside its ceiling, in words and figures. */
export interface Measure {
  readonly name: string;
  readonly value: string;
  readonly limit: string | null; // null where there is none
  readonly isOverLimit: boolean;
}

/** Ours, for a phone, come first; then the standard's. */
export function alarmMeasures(rates: AlarmRates): readonly Measure[] {
  const { audiblePerFeederWeek, perFeederWeek, perDay, worstTenMinutes, raised, unacknowledged, stale } = rates;
  const answered = raised.filter(({ acknowledgedAt }) => acknowledgedAt !== null).length;
  const perDayWords = `${perDayRule.acceptable} very likely acceptable, ${perDayRule.most} at most`;
  const aWeek = (name: string, value: number) =>
    measure(name, figureText(value), `${perFeederWeekMost} at most`, value > perFeederWeekMost);
  const none = (name: string, { length }: readonly unknown[]) => measure(name, `${length}`, "0", length > 0);
  return [
    ...(audiblePerFeederWeek === null ? [] : [aWeek("Pushes that rang, a week at each feeder", audiblePerFeederWeek)]),
    aWeek("Alarms raised, a week at each feeder", perFeederWeek),
    measure("Alarms a day, on average", figureText(perDay), perDayWords, perDay > perDayRule.most),
    measure("Most within ten minutes", `${worstTenMinutes}`, `${tenMinutesMost}`, worstTenMinutes > tenMinutesMost),
    none("Floods: more than ten within ten minutes", rates.floods),
    none("Chattering alarms", rates.chattering),
    none("Fleeting alarms", rates.fleeting),
    measure(
      "Standing for more than a day, now",
      `${stale.length}`,
      `fewer than ${staleRule.below}`,
      stale.length >= staleRule.below,
    ),
    measure("Acknowledged", `${answered} of ${raised.length}`),
    measure("Over, and never acknowledged", `${unacknowledged.length}`),
    measure("Notes for the digest, no alarms", `${rates.notes.length}`),
  ];
}

function measure(name: string, value: string, ceiling: string | null = null, over = false): Measure {
  return { name, value, limit: ceiling, isOverLimit: over };
}

/** Two figures are enough, and a rate that isn't nothing must not read as nothing. */
function figureText(value: number): string {
  if (value === 0) return "0";
  if (value < 0.01) return "under 0.01";
  return `${Number(value.toPrecision(2))}`;
}
