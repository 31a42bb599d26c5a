import type { FaultKind } from "../../server/domain/faults.ts";
import { after, days, hours, type Instant, inDays, inHours, type Span, seconds } from "../../server/domain/instant.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { initialReporting, silenceBeginsAt, updateReporting } from "../../server/domain/silence/feederSilence.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import { everySensor, type PlantedFaultKind, type Plot, randomPlot } from "../simulator/plot.ts";
import { ExactCusum, findLimit } from "./optimum.ts";
import { type EvaluationResult, formatNumber, formatTable } from "./report.ts";
import { runPlot } from "./runPlot.ts";
import { mean, poissonLimits, quantile } from "./statistics.ts";

/** Dead sensors, beside the exact sum over landings; and a silent feeder, beside the exact law of its line's gaps. */
export function evaluateSilenceDelay(seeds: readonly number[]): EvaluationResult {
  return { tables: [sensorTable(seeds), feederTable(seeds)].join("\n"), figures: {} };
}

// --- sensors -------------------------------------------------------------------------------------------------------------

const sensors: readonly { planted: PlantedFaultKind; named: FaultKind; answers: "pressed" | "deposited" | null }[] = [
  { planted: "buttonDead", named: "buttonSilent", answers: "pressed" },
  { planted: "detectorDead", named: "detectorSilent", answers: "deposited" },
  { planted: "perchDead", named: "perchSilent", answers: null },
];

const yards: readonly { readonly name: string; readonly study: Partial<Plot> }[] = [
  { name: "all sensors", study: {} },
  { name: "button only", study: { sensors: { ...everySensor, detector: false, perch: false } } },
];

function sensorTable(seeds: readonly number[]): string {
  const rows: (string | number)[][] = [];
  for (const yard of yards) {
    for (const { planted, named, answers } of sensors) {
      if (yard.study.sensors && planted !== "buttonDead") continue;
      const landings: number[] = [];
      const best: number[] = [];
      const bestAtOwnRate: number[] = [];
      const hoursToTell: number[] = [];
      const wrongly: FaultKind[] = [];
      let [missed, healthyDays] = [0, 0];
      for (const seed of seeds) {
        const met = sensorDies(randomPlot(seed, { ...yard.study, days: 60 }), planted, named, answers);
        healthyDays += met.healthyDays;
        wrongly.push(...met.wrongly);
        if (met.landings === null) missed += 1;
        else {
          landings.push(met.landings);
          hoursToTell.push(met.hours);
          if (met.best !== null) best.push(met.best);
          if (met.bestAtOwnRate !== null) bestAtOwnRate.push(met.bestAtOwnRate);
        }
      }
      const limits = poissonLimits(wrongly.length);
      const years = healthyDays / 365;
      rows.push([
        yard.name,
        planted,
        seeds.length,
        missed,
        mean(landings),
        best.length > 0 ? mean(best) : "-",
        best.length > 0 ? mean(landings) / mean(best) : "-",
        best.length > 0 ? mean(landings) / mean(bestAtOwnRate) : "-",
        quantile(hoursToTell, 0.5),
        quantile(hoursToTell, 0.9),
        `${formatNumber(wrongly.length / years)} (${formatNumber(limits.low / years)} to ${formatNumber(limits.high / years)})`,
      ]);
    }
  }
  const columns = [
    "feeder",
    "planted",
    "cases",
    "missed",
    "landings",
    "optimum's",
    "ratio",
    "ratio at one a year over all six pairs",
    "hours p50",
    "hours p90",
    "false a feeder-year",
  ];
  return formatTable(
    "Dead sensors: landings until it is found, beside the exact sum with the birds' habits known",
    columns,
    rows,
  );
}

const sensorFindings: readonly FaultKind[] = ["buttonSilent", "detectorSilent", "perchSilent", "sensorChattering"];

function sensorDies(drawn: Plot, kind: PlantedFaultKind, named: FaultKind, answers: "pressed" | "deposited" | null) {
  const at = after(drawn.from, (days(25) + hours(8)) as Span);
  const plot: Plot = { ...drawn, fault: { kind, at }, line: { ...drawn.line, outagesPerMonth: 0 } };
  const chance = seededRandom(plot.seed ^ 0x51);
  const share = answers === "pressed" ? plot.birds.pressShare : plot.birds.depositShare;
  const aYear = (365 * plot.birds.portionsPerDay) / (plot.birds.pressShare + plot.birds.depositShare);
  // Landings that a lone button can't see are no yardstick for it.
  const knows = answers !== null && plot.sensors.perch;
  const dumb = -Math.log(1 - share);
  const sumAt = (wanted: number) =>
    new ExactCusum(
      findLimit(
        wanted,
        (luck) => (luck.isTrueWith(share) ? Number.NEGATIVE_INFINITY : dumb),
        () => dumb,
        chance,
      ),
    );
  const sums = knows ? [sumAt(aYear), sumAt(pairsWatched * aYear)] : [];
  const bests: (number | null)[] = [null, null];
  const wrongly: FaultKind[] = [];
  let [since, toldAt] = [0, null as number | null];
  let toldWhen: Instant | null = null;
  runPlot(plot, {
    onMoment: ({ truth, landings }, raised) => {
      for (const landing of landings) {
        if (landing.broken) since += 1;
        const ratio = landing[answers ?? "pressed"] ? Number.NEGATIVE_INFINITY : dumb;
        sums.forEach((sum, index) => {
          if (sum.take(ratio) && landing.broken) bests[index] ??= since;
        });
      }
      for (const { fault } of raised) {
        if (truth.fault === null && sensorFindings.includes(fault)) wrongly.push(fault);
        if (truth.fault !== null && fault === named && toldAt === null) [toldAt, toldWhen] = [since, truth.at];
      }
      return toldAt !== null && (!knows || !bests.includes(null)) ? "stop" : undefined;
    },
  });
  const hoursToTell = toldWhen === null ? Number.NaN : inHours((toldWhen - at) as Span);
  const [best = null, bestAtOwnRate = null] = bests;
  const healthyDays = inDays((at - plot.from) as Span);
  return { landings: toldAt, best, bestAtOwnRate, hours: hoursToTell, wrongly, healthyDays };
}

/** Pieward divides one false alarm a year among all pairs of sensors (silence/pairing.ts), so each test is that much stricter. */
const pairsWatched = 6;

// --- feeder ----------------------------------------------------------------------------------------------------------------

const lines: readonly { readonly name: string; readonly line: Plot["line"] }[] = [
  { name: "steady", line: { lost: 0.001, burstsPerDay: 0, burstMinutes: 1, outagesPerMonth: 0, rebootsPerMonth: 0 } },
  { name: "lossy", line: { lost: 0.03, burstsPerDay: 0, burstMinutes: 1, outagesPerMonth: 0, rebootsPerMonth: 0 } },
  { name: "bursty", line: { lost: 0.01, burstsPerDay: 1, burstMinutes: 3, outagesPerMonth: 0, rebootsPerMonth: 0 } },
];

/** A year of each line after a month of learning: only the line matters here, so only its own module is used. */
function feederTable(seeds: readonly number[]): string {
  const rows: (string | number)[][] = [];
  for (const { name, line } of lines) {
    for (const every of [60, 300]) {
      const best = longestCredible(line, every, seeds[0] ?? 0);
      const years = seeds.map((seed) => yearOf(line, every, seed));
      const wrongly = years.reduce((sum, { falseSilences }) => sum + falseSilences, 0);
      const ours = mean(years.map(({ patience }) => patience));
      const limits = poissonLimits(wrongly);
      const aYear = [wrongly, limits.low, limits.high].map((count) => formatNumber(count / seeds.length));
      rows.push([name, `${every} s`, ours / 60, best / 60, ours / best, `${aYear[0]} (${aYear[1]} to ${aYear[2]})`]);
    }
  }
  const columns = ["line", "report every", "found after, min", "optimum's, min", "ratio", "false a feeder-year"];
  return formatTable(
    "Silent feeder: minutes from the last report, beside the gap that the line's exact law exceeds once a year",
    columns,
    rows,
  );
}

function yearOf(line: Plot["line"], every: number, seed: number): { falseSilences: number; patience: number } {
  const chance = seededRandom(seed ^ 0x3e5);
  const settings = { reportEvery: seconds(every) } as FeederSettings;
  let link = initialReporting(0 as Instant);
  let falseSilences = 0;
  let [patience, looked] = [0, 0];
  for (const at of arrivals(line, every, days(395), chance)) {
    const from = silenceBeginsAt(link, settings);
    if (from !== null && at >= days(30)) {
      if (at >= from) falseSilences += 1;
      if (link.kind === "reporting") {
        patience += (from - link.lastReportAt) / 1_000;
        looked += 1;
      }
    }
    link = updateReporting(
      link,
      { boot: "b-1", sentUptime: at as number as Span, reportEvery: settings.reportEvery },
      at,
    );
  }
  return { falseSilences, patience: patience / looked };
}

/** When reports come in that are sent every so many seconds over a line that loses some. */
function* arrivals(line: Plot["line"], every: number, long: Span, chance: RandomSource): Generator<Instant> {
  let burstUntil = 0;
  for (let at = 0; at < long / 1_000; at += every) {
    if (at > burstUntil && chance.isTrueWith((line.burstsPerDay * every) / 86_400))
      burstUntil = at - Math.log(1 - chance.uniform()) * line.burstMinutes * 60;
    if (at >= burstUntil && !chance.isTrueWith(line.lost))
      yield Math.round(at * 1_000 + chance.between(0, 1_500)) as Instant;
  }
}

/** The gap in seconds that this line exceeds once a year, by living forty years of it. */
function longestCredible(line: Plot["line"], every: number, seed: number): number {
  const years = 40;
  const gaps: number[] = [];
  let last = 0;
  for (const at of arrivals(line, every, days(365 * years), seededRandom(seed ^ 0x1171))) {
    if (at - last > 1_500 * every) gaps.push((at - last) / 1_000);
    last = at;
  }
  gaps.sort((a, b) => b - a);
  return gaps[years] ?? every;
}
