import { perDayLimits, perFeederWeekMax, staleRule, tenMinutesMax } from "./limits.ts";
import type { AlarmRates } from "./rates.ts";

/** One measure beside its limit, as text. */
export interface Measure {
  readonly name: string;
  readonly value: string;
  readonly limit: string | null; // null where there is none
  readonly isOverLimit: boolean;
}

/** Ours, for a phone, come first; then the standard's. */
export function alarmMeasures(rates: AlarmRates): readonly Measure[] {
  const { audiblePerFeederWeek, perFeederWeek, perDay, worstTenMinutes, raised, unacknowledged, stale } = rates;
  const acknowledgedCount = raised.filter(({ acknowledgedAt }) => acknowledgedAt !== null).length;
  const perDayText = `${perDayLimits.acceptable} very likely acceptable, ${perDayLimits.most} at most`;
  const perWeek = (name: string, value: number) =>
    measure(name, figureText(value), `${perFeederWeekMax} at most`, value > perFeederWeekMax);
  const zeroLimit = (name: string, { length }: readonly unknown[]) => measure(name, `${length}`, "0", length > 0);
  return [
    ...(audiblePerFeederWeek === null
      ? []
      : [perWeek("Audible notifications, a week at each feeder", audiblePerFeederWeek)]),
    perWeek("Alarms raised, a week at each feeder", perFeederWeek),
    measure("Alarms a day, on average", figureText(perDay), perDayText, perDay > perDayLimits.most),
    measure("Most within ten minutes", `${worstTenMinutes}`, `${tenMinutesMax}`, worstTenMinutes > tenMinutesMax),
    zeroLimit("Floods: more than ten within ten minutes", rates.floods),
    zeroLimit("Chattering alarms", rates.chattering),
    zeroLimit("Fleeting alarms", rates.fleeting),
    measure(
      "Standing for more than a day, now",
      `${stale.length}`,
      `fewer than ${staleRule.below}`,
      stale.length >= staleRule.below,
    ),
    measure("Acknowledged", `${acknowledgedCount} of ${raised.length}`),
    measure("Over, and never acknowledged", `${unacknowledged.length}`),
    measure("Notes for the digest, no alarms", `${rates.notes.length}`),
  ];
}

function measure(name: string, value: string, limit: string | null = null, isOverLimit = false): Measure {
  return { name, value, limit, isOverLimit };
}

/** Two figures are enough, and a small rate must not read as zero. */
function figureText(value: number): string {
  if (value === 0) return "0";
  if (value < 0.01) return "under 0.01";
  return `${Number(value.toPrecision(2))}`;
}
