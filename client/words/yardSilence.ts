import type { FeederView, YardView } from "../../server/contract/api.ts";

const fault = "feederSilent";
const togetherMs = 15 * 60_000; // as the server tells it: server/domain/telling/yardSilence.ts

export const silenceOf = (feeder: FeederView) => feeder.alarms.find((alarm) => alarm.fault === fault);

const isAsked = (feeder: FeederView) => {
  const phase = silenceOf(feeder)?.phase;
  return phase === "unacknowledged" || phase === "acknowledged";
};
const inGarden = ({ settings }: FeederView) => (settings.duty ?? "inGarden") === "inGarden";
const reportMs = ({ settings }: FeederView) => settings.reportEverySeconds * 1_000;

/**
 * The feeders of a yard that fell silent together: each was last heard near to the one before it. One cause, so one entry;
 * empty where fewer than two did.
 */
export function silentTogether({ feeders }: Pick<YardView, "feeders">): readonly FeederView[] {
  const silent = feeders
    .filter((feeder) => inGarden(feeder) && feeder.lastHeardAt !== null && isAsked(feeder))
    .sort((one, other) => heardAt(one) - heardAt(other));
  const groups: FeederView[][] = [];
  for (const feeder of silent) {
    const last = groups.at(-1);
    const before = last?.at(-1);
    const near =
      before && heardAt(feeder) - heardAt(before) <= Math.max(togetherMs, reportMs(feeder), reportMs(before));
    if (last && near) last.push(feeder);
    else groups.push([feeder]);
  }
  const largest = groups.reduce((most, group) => (group.length > most.length ? group : most), []);
  return largest.length < 2 ? [] : largest;
}
const heardAt = ({ lastHeardAt }: FeederView) => Date.parse(lastHeardAt ?? "");

/** "Rowan and Larch fell silent together" */
export function silenceWords(silent: readonly FeederView[], all: number): string {
  if (silent.length === all)
    return all === 2 ? "Both feeders fell silent together" : `All ${all} feeders fell silent together`;
  const names = silent.map(({ name }) => name).sort();
  return `${names.slice(0, -1).join(", ")} and ${names.at(-1)} fell silent together`;
}
