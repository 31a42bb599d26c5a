import type { FaultKind } from "../../server/domain/faults.ts";
import { after, days, hours, type Span } from "../../server/domain/instant.ts";
import { partFaultOf } from "../../server/practice/model/faults.ts";
import { turnTray } from "../../server/practice/model/tray.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import { dispenserOf } from "../simulator/brokenParts.ts";
import type { TruePortion } from "../simulator/moment.ts";
import { everySensor, type PlantedFaultKind, type Plot, randomPlot } from "../simulator/plot.ts";
import { ExactCusum, findLimit } from "./optimum.ts";
import { type EvaluationResult, formatNumber, formatTable, percent } from "./report.ts";
import { type RaisedAlarm, runPlot } from "./runPlot.ts";
import { mean, poissonLimits, quantile } from "./statistics.ts";

/** What each planted fault must be called, and what else is true of it and no mistake. */
const names: Partial<
  Record<PlantedFaultKind, { readonly right: FaultKind; readonly alsoTrue?: readonly FaultKind[] }>
> = {
  hopperEmpty: { right: "foodOut", alsoTrue: ["foodLow"] },
  feedBridged: { right: "feedBridged" },
  trayJammed: { right: "trayJammed" },
  motorStalled: { right: "motorStalled" },
  wireOff: { right: "motorNotTurning" },
  chuteBlind: { right: "chuteBlind" },
  scaleStuck: { right: "scaleSilent" },
  scaleDead: { right: "scaleSilent" },
};
type Judged = keyof typeof names;
const faults = Object.keys(names) as Judged[];

/** Findings of the feed. `feedStopped` states that two causes look alike: it is neither right nor wrong. */
const feedFindings: readonly FaultKind[] = [
  "foodOut",
  "feedBridged",
  "trayJammed",
  "motorStalled",
  "motorNotTurning",
  "chuteBlind",
  "scaleSilent",
  "feedStopped",
  "depositUnpaid",
]; // prettier-ignore
const unsure: ReadonlySet<FaultKind> = new Set(["feedStopped", "depositUnpaid"]);

const subsets: readonly { readonly name: string; readonly study: Partial<Plot> }[] = [
  { name: "all sensors", study: {} },
  { name: "no scale", study: { sensors: { ...everySensor, scale: false } } },
  { name: "no motor current", study: { currentMeasured: false } },
  { name: "no chute", study: { sensors: { ...everySensor, chute: false } } },
  { name: "chute only", study: { sensors: { ...everySensor, scale: false }, currentMeasured: false } },
  { name: "scale only", study: { sensors: { ...everySensor, chute: false }, currentMeasured: false } },
];

interface Verdict {
  readonly named: FaultKind | "nothing"; // the last diagnosis within `patience` portions of the first
  readonly first: FaultKind | "nothing";
  readonly portions: number; // from the first that showed it to the first diagnosis
  readonly optimum: number | null; // portions that the exact sum needed on the very same stream
  readonly before: readonly FaultKind[]; // raised while all was well: false alarms
  readonly healthyDays: number;
}

/** Portions after the first diagnosis within which the name may still sharpen. */
const patience = 6;

/** @param only the feeders of this name; all of them where it is left out. */
export function evaluateDiagnosis(seeds: readonly number[], only?: string): EvaluationResult {
  const figures: Record<string, number> = {};
  const matrix: (string | number)[][] = [];
  const delays: (string | number)[][] = [];
  const calm: (string | number)[][] = [];
  for (const { name, study } of subsets.filter((subset) => only === undefined || subset.name === only)) {
    const all = name === "all sensors";
    const some = all ? seeds : seeds.filter((_, index) => index % 4 === 0);
    const falsely = new Map<FaultKind, number>();
    const ratios: (readonly [number, number])[] = [];
    let healthyDays = 0;
    let [right, wrong, honest, missed] = [0, 0, 0, 0];
    for (const fault of faults) {
      if (!shows(fault, study)) continue;
      const verdicts = some.map((seed) => verdictOn(plotted(seed, fault, study), fault));
      for (const { portions, optimum } of verdicts) {
        if (optimum !== null && Number.isFinite(portions)) ratios.push([portions, optimum]);
      }
      const counted = new Map<string, number>();
      for (const { named, before, healthyDays: days } of verdicts) {
        counted.set(named, (counted.get(named) ?? 0) + 1);
        for (const kind of before) falsely.set(kind, (falsely.get(kind) ?? 0) + 1);
        healthyDays += days;
        if (named === names[fault]?.right) right += 1;
        else if (named === "nothing") missed += 1;
        else if (unsure.has(named)) honest += 1;
        else wrong += 1;
      }
      const called = [...counted].sort((a, b) => b[1] - a[1]).map(([kind, count]) => `${kind} ${count}`);
      matrix.push([
        name,
        fault,
        verdicts.length,
        percent((counted.get(names[fault]?.right ?? "") ?? 0) / verdicts.length),
        called.join(", "),
      ]);
      delays.push(delayRow(name, fault, verdicts));
    }
    const of = right + wrong + honest + missed;
    figures[`${name}: rightly`] = right / of;
    figures[`${name}: wrongly`] = wrong / of;
    figures[`${name}: ratio`] = mean(ratios.map(([ours]) => ours)) / mean(ratios.map(([, best]) => best));
    const falseAlarms = [...falsely.values()].reduce((sum, count) => sum + count, 0);
    const limits = poissonLimits(falseAlarms);
    const years = healthyDays / 365;
    calm.push([
      name,
      percent(right / of),
      percent(honest / of),
      percent(wrong / of),
      percent(missed / of),
      [...falsely].map(([kind, count]) => `${kind} ${count}`).join(", ") || "none",
      years,
      figures[`${name}: ratio`] ?? Number.NaN,
      `${formatNumber(falseAlarms / years)} (${formatNumber(limits.low / years)} to ${formatNumber(limits.high / years)})`,
    ]);
  }
  const tables = [
    formatTable(
      "Diagnosis: what planted faults were called",
      ["feeder", "planted", "cases", "rightly", "called"],
      matrix,
    ),
    formatTable(
      "Diagnosis: portions from the first that shows the fault to the first diagnosis, beside the exact cumulative sum on the same stream",
      ["feeder", "planted", "median", "mean", "p90", "optimum's mean", "ratio"],
      delays,
    ),
    formatTable(
      "Diagnosis: all faults together, and false alarms of these kinds while all was well (wanted: at most 1 a year)",
      [
        "feeder",
        "rightly",
        "honestly unsure",
        "wrongly",
        "not found",
        "false alarms",
        "feeder-years",
        "delay ratio",
        "a feeder-year",
      ],
      calm,
    ),
  ].join("\n");
  return { tables, figures };
}

const shows = (fault: Judged, { sensors = everySensor, currentMeasured = true, ...study }: Partial<Plot>): boolean => {
  void study;
  if (fault === "chuteBlind") return sensors.chute && (sensors.scale || currentMeasured);
  if (fault === "scaleStuck") return sensors.scale && sensors.chute;
  return fault !== "scaleDead" || sensors.scale;
};

function delayRow(feeder: string, fault: Judged, verdicts: readonly Verdict[]): (string | number)[] {
  const found = verdicts.filter(({ first }) => first !== "nothing");
  const portions = found.map((verdict) => verdict.portions);
  const compared = found.filter(({ optimum }) => optimum !== null);
  const best = mean(compared.map(({ optimum }) => optimum ?? Number.NaN));
  const ours = mean(compared.map((verdict) => verdict.portions));
  return [feeder, fault, quantile(portions, 0.5), mean(portions), quantile(portions, 0.9), best, ours / best];
}

/** Well for a week, then broken in the morning of the eighth day. */
function plotted(seed: number, fault: Judged, study: Partial<Plot>): Plot {
  const plot = randomPlot(seed, { ...study, days: 24 });
  const { food, birds, line } = plot;
  const at = after(plot.from, (days(7) + hours(seed % 24)) as Span);
  const calmLine = { ...line, outagesPerMonth: 0, rebootsPerMonth: 0 };
  if (fault !== "hopperEmpty") {
    // Full enough for the whole story: an empty hopper would be another fault.
    const keeper = { ...plot.keeper, refillsBelow: 0.55 };
    return { ...plot, keeper, line: calmLine, fault: { kind: fault, at } };
  }
  // Nobody refills: it runs out by itself after a week or so.
  const startGrams = Math.min(food.capacityGrams, 8 * birds.portionsPerDay * food.portionGrams);
  return { ...plot, food: { ...food, startGrams }, line: calmLine, fault: { kind: fault, at: plot.from } };
}

function verdictOn(plot: Plot, fault: Judged): Verdict {
  const best = exactSum(plot, fault);
  const before: FaultKind[] = [];
  let first: (RaisedAlarm & { readonly portions: number }) | null = null;
  let named: FaultKind | "nothing" = "nothing";
  let optimum: number | null = null;
  let healthyUntil = plot.from;
  runPlot(plot, {
    onMoment: ({ truth, portions }, raised) => {
      // A bridge may be found by the portions that shrink before the first empty one: sooner than counted, and no false alarm.
      const begun = truth.fault !== null && fault !== "hopperEmpty";
      const shown = truth.unfed > 0 || begun;
      if (!shown) healthyUntil = truth.at;
      for (const portion of portions) if (best?.take(portion) && portion.unfed > 0) optimum ??= truth.unfed;
      for (const one of raised) {
        if (!feedFindings.includes(one.fault)) continue;
        const trulyLow = one.fault === "foodOut" && nearlyEmpty(plot, truth.grams);
        if (!shown && !(trulyLow && fault === "hopperEmpty")) {
          if (!trulyLow) before.push(one.fault);
          continue;
        }
        if (first === null || truth.unfed <= first.portions + patience) {
          first ??= { ...one, portions: truth.unfed };
          // A surer diagnosis replaces a less sure one, never the other way round.
          if (named === "nothing" || !unsure.has(one.fault)) named = one.fault;
        }
      }
      const enough = first !== null && truth.unfed > first.portions + patience && (best === null || optimum !== null);
      return enough || truth.unfed > 400 ? "stop" : undefined;
    },
  });
  const found = first as (RaisedAlarm & { readonly portions: number }) | null;
  return {
    named,
    first: found?.fault ?? "nothing",
    portions: found?.portions ?? Number.NaN,
    optimum,
    before,
    healthyDays: (healthyUntil - plot.from) / days(1),
  };
}

/** Empty is a right diagnosis then: the keeper of this plot was late. */
const nearlyEmpty = ({ food }: Plot, grams: number): boolean =>
  grams < Math.max(0.04 * food.capacityGrams, 3 * food.portionGrams);

// --- the best that can be done ---------------------------------------------------------------------------------------------

interface Knower {
  take(portion: TruePortion): boolean;
}

/**
 * Chute sensor and motor current with their true laws known, at one false alarm in this feeder's year of portions. What the scale
 * tells between two portions isn't in it: null where the fault shows by the scale alone.
 */
function exactSum(plot: Plot, fault: Judged): Knower | null {
  const chance = seededRandom(plot.seed ^ 0x0b7);
  if (fault === "scaleStuck" || fault === "scaleDead" || fault === "chuteBlind") return null;
  if (!plot.sensors.chute && (!plot.currentMeasured || fault === "hopperEmpty" || fault === "feedBridged")) return null;
  const ratio = logRatioOf(plot, fault, shareUnseen(plot, chance));
  const { store, inside } = { store: { hopperGrams: 1e9, trayGrams: 1e9 }, inside: 10 };
  const draw = (broken: Judged | null, luck: RandomSource) => {
    const { portionGrams, trayPortions } = plot.food;
    // Food that no longer comes has left the tray by then.
    const runsOut = broken === "hopperEmpty" || broken === "feedBridged";
    const now = runsOut ? { hopperGrams: 0, trayGrams: 0 } : { ...store, trayGrams: trayPortions * portionGrams };
    const conditions = { fault: partFaultOf(broken), portionGrams, insideCelsius: inside };
    return ratio({ ...turnTray(now, dispenserOf(plot), conditions, luck).portion, insideCelsius: inside });
  };
  const limit = findLimit(
    365 * plot.birds.portionsPerDay,
    (luck) => draw(null, luck),
    (luck) => draw(fault, luck),
    chance,
  );
  const sum = new ExactCusum(limit);
  return { take: (portion) => sum.take(ratio(portion)) };
}

type Evidence = Pick<TruePortion, "seen" | "milliamps" | "insideCelsius">;

function logRatioOf(plot: Plot, fault: Judged, unseen: number): (portion: Evidence) => number {
  const { motor, sensors, currentMeasured } = plot;
  const factor = (
    {
      trayJammed: motor.jam,
      motorStalled: motor.stall,
      hopperEmpty: motor.lightTray,
      feedBridged: motor.lightTray,
    } as Record<string, number | undefined>
  )[fault];
  return ({ seen, milliamps, insideCelsius }) => {
    const byChute = !sensors.chute ? 0 : seen > 0 ? Number.NEGATIVE_INFINITY : -Math.log(unseen);
    if (!currentMeasured) return byChute;
    const usual = motor.milliamps * (1 + motor.perDegree * (10 - insideCelsius));
    const off = (milliamps / usual - 1) / motor.spread;
    const healthy = -0.5 * off * off - Math.log(usual * motor.spread);
    if (factor === undefined) {
      // Wire off: anything from 0 to 5 mA.
      const broken = milliamps <= 5 ? -Math.log(5) : Number.NEGATIVE_INFINITY;
      return byChute + broken - healthy - 0.5 * Math.log(2 * Math.PI);
    }
    const offBroken = (milliamps / usual / factor - 1) / motor.spread;
    return byChute - 0.5 * offBroken * offBroken - Math.log(usual * factor * motor.spread) - healthy;
  };
}

/** Share of good portions of which the chute sensor sees nothing, by drawing. */
function shareUnseen(plot: Plot, chance: RandomSource): number {
  const { portionGrams, trayPortions } = plot.food;
  let unseen = 0;
  const draws = 20_000;
  for (let draw = 0; draw < draws; draw += 1) {
    const store = { hopperGrams: 1e9, trayGrams: trayPortions * portionGrams };
    const conditions = { fault: null, portionGrams, insideCelsius: 10 };
    if (turnTray(store, dispenserOf(plot), conditions, chance).portion.seen === 0) unseen += 1;
  }
  return Math.max(unseen, 0.5) / draws;
}
