import { type DayCounts, type DigestFeeder, nameOf } from "./digestFeeder.ts";
import { type FeederLine, groupLines } from "./limitLines.ts";
import { compareCount, daysNeeded, usualWeekOf } from "./usualWeek.ts";

/** What the birds did yesterday beside their usual week: the median of the seven local days before, as far as they were whole. */
export function birdLines(feeders: readonly DigestFeeder[]): readonly string[] {
  const brief = feeders.length > namedInFull;
  return groupLines(feeders.map((feeder): FeederLine => ({ name: nameOf(feeder), text: birdText(feeder, brief) })));
}

/** Of more feeders than these only what is unusual is said in numbers. */
const namedInFull = 3;

const kinds = ["visits", "presses", "deposits", "portions"] as const;
type CountedKind = (typeof kinds)[number];
const singularNames: Readonly<Record<CountedKind, string>> = {
  visits: "visit",
  presses: "press",
  deposits: "deposit",
  portions: "portion",
};

/** By chance alone a feeder's birds are called unusual on one day in twenty, whichever of its counts it is (Bonferroni). */
const unusualProbability = 0.05;

function birdText({ days }: DigestFeeder, brief: boolean): string {
  const [yesterday, ...before] = days;
  if (yesterday === undefined) return "nothing is known of yesterday.";
  const { counts } = yesterday;
  const told = kinds.filter((kind) => days.some((day) => day.counts[kind] > 0));
  if (told.length === 0) return "no bird came yesterday, as all week.";
  if (!yesterday.isComplete) return `${countsText(counts, told)}. It was silent or paused for part of yesterday.`;
  const compared = before.filter(({ isComplete }) => isComplete);
  if (compared.length < daysNeeded) return `${countsText(counts, told)}. Too early to say what is usual.`;
  // Who has no such sensor can't be found to differ by it.
  const level = unusualProbability / told.length;
  const found = told.map((kind) => {
    const week = usualWeekOf(compared.map((day) => day.counts[kind]));
    return { kind, usually: week?.median ?? 0, is: week === null ? "usual" : compareCount(week, counts[kind], level) };
  });
  const unusual = (is: "fewer" | "more"): readonly string[] => {
    const those = found.filter((each) => each.is === is);
    const said = those.map(
      ({ kind, usually }, place) =>
        `${counted(counts[kind], kind)} (${place === 0 ? "usually " : ""}${Math.round(usually)})`,
    );
    return those.length === 0 ? [] : [`${is} than usual: ${said.join(", ")}`];
  };
  const odd = [...unusual("fewer"), ...unusual("more")];
  if (odd.length === 0) return brief ? "as usual." : `as usual: ${countsText(counts, told)}.`;
  const rest = found.some(({ is }) => is === "usual") ? " The rest as usual." : "";
  return `${odd.join("; ")}.${rest}`;
}

const countsText = (counts: DayCounts, told: readonly CountedKind[]): string =>
  told.map((kind) => counted(counts[kind], kind)).join(", ");

function counted(count: number, kind: CountedKind): string {
  if (count === 0) return `no ${singularNames[kind]}`;
  return count === 1 ? `1 ${singularNames[kind]}` : `${count} ${kind}`;
}
