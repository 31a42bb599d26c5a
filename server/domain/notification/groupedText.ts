import { texts } from "../../text/index.ts";
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
  const text = texts.notification.group;
  const named = silent
    .slice(0, namesMax)
    .map(({ name, lastReportAt }) => text.lastReport(name, localTimeOf(lastReportAt, zone)));
  return {
    title: text.silent.title(yardName, silentCountText(silent.length, inService)),
    body: text.silent.body(texts.lists.andMore(named.join(", "), silent.length - named.length)),
  };
}

function silentCountText(silent: number, inService: number): string {
  const { someFeeders, bothFeeders, allFeeders } = texts.notification.group;
  if (silent < inService) return someFeeders(silent, inService);
  return silent === 2 ? bothFeeders : allFeeders(silent);
}

export const allReportingNews = (yardName: string): EscalationNews => ({
  title: texts.notification.group.allReporting.title(yardName),
  body: texts.notification.group.allReporting.body,
});

export const oneSilentNews = (yardName: string, { name }: SilentFeeder): EscalationNews => ({
  title: texts.notification.group.oneSilent.title(yardName, name),
  body: texts.notification.group.oneSilent.body,
});

/** In place of one feeder's own alarm, which the yard's escalation now covers. */
export const groupedNews = (feederName: string, yardTitle: string): EscalationNews => ({
  title: texts.notification.group.included.title(feederName),
  body: texts.notification.group.included.body(yardTitle),
});
