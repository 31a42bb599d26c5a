import { texts } from "../../text/index.ts";
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

/** By chance alone a feeder's birds count as unusual on one day in twenty, over all its counts together (Bonferroni). */
const unusualProbability = 0.05;

function birdText({ days }: DigestFeeder, brief: boolean): string {
  const text = texts.digest.birds;
  const [yesterday, ...before] = days;
  if (yesterday === undefined) return text.noData;
  const { counts } = yesterday;
  const shown = kinds.filter((kind) => days.some((day) => day.counts[kind] > 0));
  if (shown.length === 0) return text.noBirds;
  if (!yesterday.isComplete) return text.incomplete(countsText(counts, shown));
  const complete = before.filter(({ isComplete }) => isComplete);
  if (complete.length < daysNeeded) return text.notEnoughData(countsText(counts, shown));
  // A count without its sensor can't differ.
  const level = unusualProbability / shown.length;
  const found = shown.map((kind) => {
    const week = usualWeekOf(complete.map((day) => day.counts[kind]));
    return { kind, usually: week?.median ?? 0, is: week === null ? "usual" : compareCount(week, counts[kind], level) };
  });
  const unusual = (is: "fewer" | "more"): readonly string[] => {
    const those = found.filter((each) => each.is === is);
    const compared = those.map(({ kind, usually }, place) =>
      text[place === 0 ? "comparedFirst" : "compared"](text[kind](counts[kind]), Math.round(usually)),
    );
    return those.length === 0 ? [] : [text[is](compared.join(", "))];
  };
  const odd = [...unusual("fewer"), ...unusual("more")];
  if (odd.length === 0) return brief ? text.allUsual : text.allUsualCounts(countsText(counts, shown));
  return text[found.some(({ is }) => is === "usual") ? "othersUsual" : "unusual"](odd.join("; "));
}

const countsText = (counts: DayCounts, shown: readonly CountedKind[]): string =>
  shown.map((kind) => texts.digest.birds[kind](counts[kind])).join(", ");
