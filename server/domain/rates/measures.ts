import { inDays, inHours, type Span } from "../instant.ts";
import {
  chatterRule,
  type Figure,
  fleetingRule,
  floodRule,
  loadCeilings,
  phoneCeiling,
  staleRule,
  topTenRule,
} from "./ceilings.ts";
import type { Rates } from "./rates.ts";

/** One measure beside its ceiling, in words and figures. */
export interface Measure {
  readonly name: string;
  readonly value: string;
  /** Null where the standard names none. */
  readonly ceiling: { readonly words: string; readonly source: string; readonly status: Figure["status"] } | null;
  readonly over: boolean;
}

/** All measures in the order in which the standard tells them; ours, for a phone, comes first. */
export function measuresOf(rates: Rates): readonly Measure[] {
  const { load, floods, stale, answers, setAside, topTenShare, rangPerFeederWeek, perFeederWeek } = rates;
  const { perDay, perHour, perTenMinutes, worstTenMinutes, busyHours, busyTenMinutes } = loadCeilings;
  const averages = ({ acceptable, most, source, status }: typeof perDay | typeof perHour | typeof perTenMinutes) => ({
    words: `${acceptable} very likely acceptable, ${most} at most`,
    source,
    status,
  });
  const bound = (words: string, { source, status }: Figure) => ({ words, source, status });
  const aWeek = bound(`${phoneCeiling.perFeederWeek} at most`, phoneCeiling);
  const aHour = load.perDay / 24;
  return [
    ...(rangPerFeederWeek === null
      ? []
      : [line("Pushes that rang, a week at each feeder", figure(rangPerFeederWeek), aWeek, rangPerFeederWeek > 1)]),
    line(
      "Alarms raised, a week at each feeder",
      figure(perFeederWeek),
      aWeek,
      perFeederWeek > phoneCeiling.perFeederWeek,
    ),
    line("Alarms a day, on average", figure(load.perDay), averages(perDay), load.perDay > perDay.most),
    line("Alarms an hour, on average", figure(aHour), averages(perHour), aHour > perHour.most),
    line(
      "Alarms in ten minutes, on average",
      figure(aHour / 6),
      averages(perTenMinutes),
      aHour / 6 > perTenMinutes.most,
    ),
    line("Most on one day", `${load.worstDay?.alarms ?? 0}`),
    line("Most within an hour", `${load.worstHour}`),
    line(
      "Most within ten minutes",
      `${load.worstTenMinutes}`,
      bound(`${worstTenMinutes.most}`, worstTenMinutes),
      load.worstTenMinutes > worstTenMinutes.most,
    ),
    line(
      `Hours with more than ${busyHours.over}`,
      percent(load.busyHours),
      bound(`under ${percent(busyHours.most)}`, busyHours),
      load.busyHours >= busyHours.most,
    ),
    line(
      `Ten-minute periods with more than ${busyTenMinutes.over}`,
      percent(load.busyTenMinutes),
      bound(`under ${percent(busyTenMinutes.most)}`, busyTenMinutes),
      load.busyTenMinutes >= busyTenMinutes.most,
    ),
    line("Floods", `${floods.length}`),
    line(
      "Time spent in floods",
      percent(rates.timeInFlood),
      bound(`under ${percent(floodRule.mostOfTime)}`, floodRule),
      rates.timeInFlood >= floodRule.mostOfTime,
    ),
    line(
      "Chattering alarms",
      `${rates.chattering.length}`,
      bound(`${chatterRule.most}`, chatterRule),
      rates.chattering.length > chatterRule.most,
    ),
    line(
      "Fleeting alarms",
      `${rates.fleeting.length}`,
      bound(`${fleetingRule.most}`, fleetingRule),
      rates.fleeting.length > fleetingRule.most,
    ),
    line("Standing for more than a day, now", `${stale.standing.length}`),
    line(
      "The same, most on one day",
      `${stale.mostOnADay}`,
      bound(`fewer than ${staleRule.mostOnADay.below}`, { ...staleRule.mostOnADay }),
      stale.mostOnADay >= staleRule.mostOnADay.below,
    ),
    // Never called too high: the ten most frequent of a handful are always all of them.
    line(
      "Share of the ten most frequent",
      topTenShare === null ? "none raised" : percent(topTenShare),
      bound(`up to ${percent(topTenRule.most)}, where there are hundreds`, topTenRule),
    ),
    line("Acknowledged", `${answers.answered} of ${load.alarms}`),
    line(
      "Time until acknowledged, half of them",
      answers.medianTime === null ? "none yet" : spanWords(answers.medianTime),
    ),
    line("Shelved", `${setAside.shelved}`),
    line("Suppressed by design", `${setAside.suppressed}`),
    line("Taken out of service", `${setAside.outOfService}`),
    line("Notes for the digest, no alarms", `${rates.notes.length}`),
  ];
}

function line(name: string, value: string, ceiling: Measure["ceiling"] = null, over = false): Measure {
  return { name, value, ceiling, over };
}

/** Two figures are enough, and a rate that isn't nothing must not read as nothing. */
function figure(value: number): string {
  if (value === 0) return "0";
  if (value < 0.01) return "under 0.01";
  return `${Number(value.toPrecision(2))}`;
}

const percent = (share: number): string => {
  const hundredths = 100 * share;
  if (hundredths === 0) return "0 %";
  if (hundredths < 0.01) return "under 0.01 %";
  return `${Number(hundredths.toPrecision(hundredths < 10 ? 2 : 3))} %`;
};

function spanWords(span: Span): string {
  const minutes = Math.round(span / 60_000);
  if (minutes < 90) return minutes === 1 ? "1 minute" : `${minutes} minutes`;
  if (inHours(span) < 36) return `${Math.round(inHours(span))} hours`;
  return `${Math.round(inDays(span))} days`;
}
