import * as text from "#text/groupedSilence.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { listText } from "./format.ts";

const fault = "feederSilent";
const groupWithinMs = 15 * 60_000; // as the server groups them: server/domain/notification/groupedSilence.ts

export const silenceAlarm = (feeder: FeederView) => feeder.alarms.find((alarm) => alarm.fault === fault);

const isOpen = (feeder: FeederView) => {
  const state = silenceAlarm(feeder)?.state;
  return state === "unacknowledged" || state === "acknowledged";
};
const isInGarden = ({ settings }: FeederView) => (settings.placement ?? "inGarden") === "inGarden";
const reportMs = ({ settings }: FeederView) => settings.reportEverySeconds * 1_000;

/**
 * The feeders of a yard that stopped reporting together: the last report of each is near to that of the one before. One
 * cause, so one entry; empty where fewer than two did.
 */
export function groupedSilentFeeders({ feeders }: Pick<YardView, "feeders">): readonly FeederView[] {
  const silent = feeders
    .filter((feeder) => isInGarden(feeder) && feeder.lastReportAt !== null && isOpen(feeder))
    .sort((one, other) => lastReportMs(one) - lastReportMs(other));
  const groups: FeederView[][] = [];
  for (const feeder of silent) {
    const last = groups.at(-1);
    const before = last?.at(-1);
    const near =
      before &&
      lastReportMs(feeder) - lastReportMs(before) <= Math.max(groupWithinMs, reportMs(feeder), reportMs(before));
    if (last && near) last.push(feeder);
    else groups.push([feeder]);
  }
  const largest = groups.reduce((most, group) => (group.length > most.length ? group : most), []);
  return largest.length < 2 ? [] : largest;
}
const lastReportMs = ({ lastReportAt }: FeederView) => Date.parse(lastReportAt ?? "");

/** "No reports from Rowan and Larch" */
export function groupedSilenceText(silent: readonly FeederView[], all: number): string {
  if (silent.length < all) return text.silentText(listText(silent.map(({ name }) => name).sort()));
  return all === 2 ? text.bothSilentText : text.allSilentText(all);
}
