import { formatNumber, percent } from "../evaluation/report.ts";
import { poissonLimits, proportionLimits, quantile } from "../evaluation/statistics.ts";
import type { WorldFault } from "../worlds/world.ts";
import { namesOf } from "./founded.ts";
import type { StoryFigures } from "./judgeStory.ts";

/** Tables of what was judged; rates with Garwood's limits, shares with Wilson's, 95 %. */

const daysAYear = 365.25;

/** Healthy feeders of one subset of sensors. */
export function healthyRow(name: string, stories: readonly StoryFigures[]): string[] {
  const years = sum(stories, ({ feederDays }) => feederDays) / daysAYear;
  const unfounded = stories.map(
    ({ alarms }) => alarms.filter(({ priority, founded }) => priority === "urgent" && !founded).length,
  );
  const total = unfounded.reduce((all, count) => all + count, 0);
  const { low, high } = poissonLimits(total);
  const rates = unfounded.map((count, index) => count / ((stories[index]?.feederDays ?? 1) / daysAYear));
  const pushes = sum(stories, ({ alarms }) => alarms.filter(({ priority }) => priority !== "note").length);
  const levels = sum(stories, (story) => story.levels);
  const held = sum(stories, (story) => story.levelsHeld);
  return [
    name,
    formatNumber(years),
    `${formatNumber(total / years)} (${formatNumber(low / years)} to ${formatNumber(high / years)})`,
    medianText(rates),
    formatNumber(Math.max(...rates)),
    formatNumber(pushes / (years * (daysAYear / 7))),
    shareText(held, levels),
  ];
}

export const healthyColumns = [
  "sensors",
  "feeder-years",
  "unfounded urgent a year",
  "median",
  "worst",
  "alarms a week",
  "level within 90 %",
];

/** Feeders that nobody refills. */
export function runOutRow(name: string, stories: readonly StoryFigures[]): string[] {
  const all = stories.flatMap(({ forecasts }) => forecasts).filter(({ hoursBefore }) => hoursBefore >= 0);
  const last = all.filter(({ hoursBefore }) => hoursBefore <= 24);
  const held = (some: typeof all) => shareText(some.filter((one) => one.held).length, some.length);
  const emptied = stories.filter(({ forecasts }) => forecasts.length > 0);
  const told = emptied.filter(({ alarms }) => alarms.some(({ fault }) => fault === "foodOut"));
  return [
    name,
    `${emptied.length}`,
    held(all),
    held(last),
    shareText(all.filter(({ past }) => past).length, all.length),
    shareText(told.length, emptied.length),
  ];
}

export const runOutColumns = [
  "sensors",
  "run-outs",
  "within p10 to p90",
  "in the last 24 h",
  "told a past time",
  "called food out",
];

/** A planted fault: whether, when and under which name it was told. */
export function faultRow(fault: WorldFault, stories: readonly StoryFigures[]): string[] {
  const { right, near } = namesOf[fault];
  const told = stories.map(({ alarms }) => alarms.filter(({ hoursAfterFault }) => hoursAfterFault !== null));
  const fitting = told.map((alarms) =>
    alarms.filter((alarm) => right.includes(alarm.fault) || near.includes(alarm.fault)),
  );
  const firsts = fitting.flatMap(([first]) => (first === undefined ? [] : [first]));
  const named = fitting.filter((alarms) => alarms.some((alarm) => right.includes(alarm.fault)));
  const others = told.filter((alarms) =>
    alarms.some(
      (alarm) =>
        alarm.priority !== "note" && !alarm.founded && !right.includes(alarm.fault) && !near.includes(alarm.fault),
    ),
  );
  return [
    fault,
    shareText(firsts.length, stories.length),
    shareText(firsts.filter((first) => right.includes(first.fault)).length, firsts.length),
    shareText(named.length, stories.length),
    medianText(firsts.map((first) => first.hoursAfterFault ?? 0)),
    medianText(firsts.map((first) => first.unfedAfterFault)),
    shareText(others.length, stories.length),
  ];
}

/** In the place of figures, where the world can't plant it. */
export const notPlantedRow = (fault: WorldFault): string[] => [
  fault,
  "not planted here",
  ...faultColumns.slice(2).map(() => "-"),
];

export const faultColumns = [
  "fault",
  "told",
  "first name right",
  "right in the end",
  "median h",
  "median unfed runs",
  "others blamed",
];

const medianText = (values: readonly number[]): string => formatNumber(quantile(values, 0.5));

function shareText(hits: number, of: number): string {
  if (of === 0) return "-";
  const { low, high } = proportionLimits(hits, of);
  return `${percent(hits / of)} (${Math.round(100 * low)} to ${Math.round(100 * high)})`;
}

const sum = (stories: readonly StoryFigures[], of: (story: StoryFigures) => number): number =>
  stories.reduce((total, story) => total + of(story), 0);
