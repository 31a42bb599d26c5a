import { type DayCounts, type DigestFeeder, nameOf } from "./digestFeeder.ts";
import { type FeederLine, groupLines } from "./limitLines.ts";
import { compareCount, daysNeeded, usualWeekOf } from "./usualWeek.ts";

/** Yesterday's birds compared with their usual week: the median of the seven local days before that have complete data. */
export function birdLines(feeders: readonly DigestFeeder[]): readonly string[] {
  const brief = feeders.length > namedInFull;
  return groupLines(feeders.map((feeder): FeederLine => ({ name: nameOf(feeder), text: birdText(feeder, brief) })));
}

/** With more feeders than these, only unusual numbers are shown. */
const namedInFull = 3;

const kinds = ["visits", "presses", "deposits", "portions"] as const;
type CountedKind = (typeof kinds)[number];
const singularNames: Readonly<Record<CountedKind, string>> = {
  visits: "visit",
  presses: "press",
  deposits: "deposit",
  portions: "portion",
};

/** By chance alone a feeder's birds count as unusual on one day in twenty, over all its counts together (Bonferroni). */
const unusualProbability = 0.05;

function birdText({ days }: DigestFeeder, brief: boolean): string {
  const [yesterday, ...before] = days;
  if (yesterday === undefined) return "no data for yesterday.";
  const { counts } = yesterday;
  const shown = kinds.filter((kind) => days.some((day) => day.counts[kind] > 0));
  if (shown.length === 0) return "no birds yesterday, as in the past week.";
  if (!yesterday.isComplete)
    return `${countsText(counts, shown)}. Part of yesterday is missing (no reports or paused).`;
  const compared = before.filter(({ isComplete }) => isComplete);
  if (compared.length < daysNeeded) return `${countsText(counts, shown)}. Not enough data for a comparison.`;
  // A count without its sensor can't differ.
  const level = unusualProbability / shown.length;
  const found = shown.map((kind) => {
    const week = usualWeekOf(compared.map((day) => day.counts[kind]));
    return { kind, usually: week?.median ?? 0, is: week === null ? "usual" : compareCount(week, counts[kind], level) };
  });
  const unusual = (is: "fewer" | "more"): readonly string[] => {
    const those = found.filter((each) => each.is === is);
    const texts = those.map(
      ({ kind, usually }, place) =>
        `${counted(counts[kind], kind)} (${place === 0 ? "usually " : ""}${Math.round(usually)})`,
    );
    return those.length === 0 ? [] : [`${is} than usual: ${texts.join(", ")}`];
  };
  const odd = [...unusual("fewer"), ...unusual("more")];
  if (odd.length === 0) return brief ? "as usual." : `as usual: ${countsText(counts, shown)}.`;
  const rest = found.some(({ is }) => is === "usual") ? " Others as usual." : "";
  return `${odd.join("; ")}.${rest}`;
}

const countsText = (counts: DayCounts, shown: readonly CountedKind[]): string =>
  shown.map((kind) => counted(counts[kind], kind)).join(", ");

function counted(count: number, kind: CountedKind): string {
  if (count === 0) return `no ${singularNames[kind]}`;
  return count === 1 ? `1 ${singularNames[kind]}` : `${count} ${kind}`;
}
