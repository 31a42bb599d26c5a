import { localTimeOf } from "../localTime.ts";
import type { EscalationNews, SilentFeeder } from "./escalation.ts";

/** More names than these are counted: the words must fit a locked screen. */
const namesMax = 4;

/** "Alder Croft: 2 of 3 feeders silent"; `inService` counts those that could be heard at all. */
export function silentYardNews(
  yardName: string,
  silent: readonly SilentFeeder[],
  inService: number,
  zone: string,
): EscalationNews {
  const named = silent
    .slice(0, namesMax)
    .map(({ name, lastReportAt }) => `${name} at ${localTimeOf(lastReportAt, zone)}`);
  const more = silent.length - named.length;
  return {
    title: `${yardName}: ${silentCountText(silent.length, inService)} silent`,
    body: `Last heard: ${named.join(", ")}${more > 0 ? ` and ${more} more` : ""}. They fell silent together, so look at the yard's power and network first.`,
  };
}

function silentCountText(silent: number, inService: number): string {
  if (silent < inService) return `${silent} of ${inService} feeders`;
  return silent === 2 ? "both feeders" : `all ${silent} feeders`;
}

export const allReportingNews = (yardName: string): EscalationNews => ({
  title: `${yardName}: all heard again`,
  body: "Each of its feeders has reported again.",
});

export const oneSilentNews = (yardName: string, { name }: SilentFeeder): EscalationNews => ({
  title: `${yardName}: only ${name} is still silent`,
  body: "The others are heard again or were set aside.",
});

/** In place of one feeder's own alarm, whose cause the yard's call now speaks of. */
export const groupedNews = (feederName: string, yardTitle: string): EscalationNews => ({
  title: `${feederName}: silent with others`,
  body: `It is told as one: ${yardTitle}.`,
});
