import { after, days, hours, type Instant, inHours, type Span } from "../../server/domain/instant.ts";
import { everySensor, type Plot, randomPlot } from "../simulator/plot.ts";
import { type EvaluationResult, formatTable, percent } from "./report.ts";
import { type HopperSample, runPlot } from "./runPlot.ts";
import { mean, quantile } from "./statistics.ts";

/**
 * Forecasts beside what came: the keeper refills only some hours after the hopper has run out, so that each forecast meets its
 * truth. The straight line goes through the level as it stood a day ago and stands now.
 * @param only the feeders of this name; all of them where it is left out.
 */
export function evaluateRunOut(seeds: readonly number[], only?: string): EvaluationResult {
  const figures: Record<string, number> = {};
  const rows: (string | number)[][] = [];
  for (const { name, study } of kinds.filter((kind) => only === undefined || kind.name === only)) {
    const found: Met[] = [];
    for (const seed of seeds) found.push(...forecastsOf(runsOut(seed, study)));
    for (const [span, from, to] of spans) {
      const met = found.filter(({ truth }) => truth >= from && truth < to);
      if (met.length === 0) continue;
      const inside = met.filter(({ truth, p10, p90 }) => truth >= p10 && truth <= p90).length / met.length;
      const early = met.filter(({ truth, p10 }) => truth < p10).length / met.length;
      const lined = met.filter(({ line }) => line !== null);
      const off = (guess: (one: Met) => number) =>
        mean(lined.map((one) => Math.min(240, Math.abs(guess(one) - one.truth))));
      const [ours, theirs] = [off(({ p50 }) => p50), off(({ line }) => line ?? 0)];
      const width = quantile(
        met.map(({ p10, p90, truth }) => (p90 - p10) / truth),
        0.5,
      );
      if (span === "all") figures[name] = inside;
      if (span === "all") figures[`${name}, better by`] = 1 - ours / theirs;
      rows.push([
        name,
        span,
        met.length,
        percent(inside),
        percent(early),
        width,
        ours,
        theirs,
        percent(1 - ours / theirs),
      ]);
    }
  }
  const columns = [
    "feeder",
    "ran out after",
    "forecasts",
    "in p10..p90",
    "before p10",
    "width/time",
    "off, h",
    "line off, h",
    "better by",
  ];
  const tables = formatTable(
    "Run-out: the 80 % interval (wanted 75 to 85 %), and against a straight line through the last day",
    columns,
    rows,
  );
  return { tables, figures };
}

const kinds: readonly { readonly name: string; readonly study: Partial<Plot> }[] = [
  { name: "scale", study: {} },
  { name: "no scale", study: { sensors: { ...everySensor, scale: false } } },
];

/** Hours until it ran out, at the time of the forecast. */
const spans = [
  ["all", 6, 24 * 365],
  ["6 to 24 h", 6, 24],
  ["1 to 3 days", 24, 72],
  ["3 to 7 days", 72, 168],
  ["over 7 days", 168, 24 * 365],
] as const;

/** In hours from the forecast on. */
interface Met {
  readonly truth: number;
  readonly p10: number;
  readonly p50: number;
  readonly p90: number;
  readonly line: number | null;
}

function runsOut(seed: number, study: Partial<Plot>): Plot {
  const plot = randomPlot(seed, { ...study, days: 40 });
  const { food, birds, keeper, line } = plot;
  // Empty every four to ten days, or a month would hold one run-out.
  const lasts = 4 + (seed % 7);
  const portionsPerDay = Math.max(12, food.capacityGrams / food.portionGrams / lasts);
  return {
    ...plot,
    birds: { ...birds, portionsPerDay },
    keeper: { ...keeper, refillsBelow: "ranOut", refillShare: 1 },
    line: { ...line, outagesPerMonth: 0.5 },
  };
}

function forecastsOf(plot: Plot): Met[] {
  const met: Met[] = [];
  let waiting: (HopperSample & { readonly line: number | null })[] = [];
  const levels: { at: Instant; grams: number }[] = [];
  let emptyBefore = false;
  const from = after(plot.from, days(2));
  runPlot(plot, {
    onHopper: (sample, truth) => {
      const empty = truth.emptySince;
      if (empty !== null && !emptyBefore) {
        for (const one of waiting) if (one.at < empty) met.push(against(one, empty));
        waiting = [];
      }
      emptyBefore = empty !== null;
      if (sample.hopper === null) return;
      levels.push({ at: sample.at, grams: sample.hopper.grams });
      if (levels.length > 60) levels.shift();
      const { at, hopper } = sample;
      // Each twelve hours, so that one run-out isn't met by a hundred forecasts that say the same.
      if (
        empty !== null ||
        at < from ||
        sample.empty.p50 === null ||
        sample.empty.p50 <= at ||
        (at / hours(1)) % 12 !== 6
      )
        return;
      waiting.push({ ...sample, line: straightLine(levels, at, hopper.grams) });
    },
    onMoment: ({ truth }) => {
      if (truth.emptySince === null && emptyBefore) [emptyBefore, waiting] = [false, []]; // refilled
      return undefined;
    },
  });
  return met;
}

function against(one: HopperSample & { readonly line: number | null }, truth: Instant): Met {
  const inHoursOf = (at: Instant | null) => (at === null ? 24 * 365 : inHours((at - one.at) as Span));
  const { p10, p50, p90 } = one.empty;
  return { truth: inHoursOf(truth), p10: inHoursOf(p10), p50: inHoursOf(p50), p90: inHoursOf(p90), line: one.line };
}

/** Hours until the line through the level of a day ago and of now is at nothing; null where it doesn't sink or a refill lies between. */
function straightLine(levels: readonly { at: Instant; grams: number }[], now: Instant, grams: number): number | null {
  const before = levels.find(({ at }) => at >= now - days(1) - hours(0.5));
  if (!before || before.at > now - days(1) + hours(1.5)) return null;
  const since = levels.filter(({ at }) => at >= before.at);
  const rose = since.some(
    ({ grams }, index) => index > 0 && grams > (since[index - 1]?.grams ?? grams) + 0.1 * before.grams,
  );
  const perHour = (before.grams - grams) / inHours((now - before.at) as Span);
  return rose || perHour <= 0 ? null : grams / perHour;
}
