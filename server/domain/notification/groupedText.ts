import { localTimeOf } from "../localTime.ts";
import type { EscalationNews, SilentFeeder } from "./escalation.ts";

/** More names than these are counted: the text must fit a locked screen. */
const namesMax = 4;

/** "Alder Croft: no reports from 2 of 3 feeders"; `inService` counts the feeders that are expected to report. */
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
    title: `${yardName}: no reports from ${silentCountText(silent.length, inService)}`,
    body: `Last reports: ${named.join(", ")}${more > 0 ? ` and ${more} more` : ""}. They stopped at about the same time. Check the yard's power and network first.`,
  };
}

function silentCountText(silent: number, inService: number): string {
  if (silent < inService) return `${silent} of ${inService} feeders`;
  return silent === 2 ? "both feeders" : `all ${silent} feeders`;
}

export const allReportingNews = (yardName: string): EscalationNews => ({
  title: `${yardName}: all report again`,
  body: "All feeders report again.",
});

export const oneSilentNews = (yardName: string, { name }: SilentFeeder): EscalationNews => ({
  title: `${yardName}: only ${name} has no reports`,
  body: "The others report again or are suppressed.",
});

/** In place of one feeder's own alarm, which the yard's escalation now covers. */
export const groupedNews = (feederName: string, yardTitle: string): EscalationNews => ({
  title: `${feederName}: part of a group`,
  body: `Included in: ${yardTitle}.`,
});
