/**
 * `npm run judge -- training`: what the training record advises on sites of simulated learners that were written apart from it (test/learners).
 *
 * Goal: how long until the right advice, how much wrong advice in a hundred programmes, whether intervals hold the truth, and how often a site
 * that never learns is called ready. Method: whole programmes lived by the advice, single stages on sites that never learn, and stages in
 * which the distance is set anew. Seeds
 * are drawn anew and printed; JUDGE_SEED=… repeats a run, JUDGE_SEEDS (programmes of a kind), JUDGE_DAYS. The sealed kinds are judged only with
 * JUDGE_SEALED=1.
 */
import { randomInt } from "node:crypto";
import { quantile, shareLimits } from "../../../server/domain/intervals.ts";
import { formatTable } from "../../evaluation/report.ts";
import { sealedSiteMakers } from "../../learners/sealed/sites.ts";
import { type SiteMaker, siteMakers } from "../../learners/site.ts";
import { type Held, judgeChanges } from "./changedDistance.ts";
import { figuresOf, type ProgrammeFigures } from "./figures.ts";
import { liveProgramme, stages } from "./liveProgramme.ts";

const percent = (part: number, of: number) => (of === 0 ? "–" : `${Math.round((100 * part) / of)} %`);
const sum = (all: readonly ProgrammeFigures[], of: (figures: ProgrammeFigures) => number) =>
  all.reduce((total, figures) => total + of(figures), 0);

/** Programmes begin in each season. */
const firstDateOf = (seed: number) => `2026-${String(1 + (seed % 12)).padStart(2, "0")}-10`;

export function judgeTraining(): void {
  const firstSeed = Number(process.env.JUDGE_SEED ?? randomInt(1, 1_000_000_000));
  const seeds = Array.from({ length: Number(process.env.JUDGE_SEEDS ?? 50) }, (_, index) => firstSeed + index);
  const days = Number(process.env.JUDGE_DAYS ?? 120);
  const kinds = process.env.JUDGE_SEALED === "1" ? sealedSiteMakers : siteMakers;
  console.log(`Training record: ${seeds.length} programmes of a kind, ${days} days each, seeds from ${firstSeed}\n`);
  const rows = Object.entries(kinds).map(([kind, make]) => programmeRow(kind, make, seeds, days));
  console.log(formatTable("Programmes that follow the advice", programmeColumns, rows));
  console.log(
    formatTable(
      "Stages of 40 days in which the distance is set anew every ten",
      changedColumns,
      Object.entries(kinds).map(([kind, make]) => changedRow(kind, make, seeds)),
    ),
  );
  console.log(
    formatTable(
      "Sites that never learn, each kept at one stage for 56 days",
      neverColumns,
      neverRows(kinds.neverLearns ?? siteMakers.neverLearns, seeds),
    ),
  );
}

const programmeColumns = [
  "learners",
  "stage reached (median)",
  "advice to move on",
  "too early",
  "at chance",
  "days late (median, p90)",
  "never came",
  "back",
  "back wrongly",
  "wait days",
  "unfounded",
  "Wilson holds",
  "Beta holds",
];

function programmeRow(kind: string, make: SiteMaker, seeds: readonly number[], days: number): string[] {
  const all = seeds.map((seed) => {
    const options = { firstDate: firstDateOf(seed), days, firstStage: 0, followsAdvice: true };
    return figuresOf([...liveProgramme(make(seed), options)]);
  });
  const delays = all.flatMap((figures) => figures.delays);
  const came = delays.filter((delay) => delay !== null);
  const moves = sum(all, (figures) => figures.moves);
  const steps = sum(all, (figures) => figures.stepsBack);
  const waits = sum(all, (figures) => figures.waits);
  const covered = sum(all, ({ covered: { of } }) => of);
  return [
    kind,
    String(
      quantile(
        all.map((figures) => figures.stageReached),
        0.5,
      ),
    ),
    String(moves),
    `${sum(all, (figures) => figures.movesTooEarly)} (${percent(
      sum(all, (figures) => figures.movesTooEarly),
      moves,
    )})`,
    String(sum(all, (figures) => figures.movesAtChance)),
    came.length === 0 ? "–" : `${quantile(came, 0.5)}, ${Math.round(quantile(came, 0.9))}`,
    `${delays.length - came.length} of ${delays.length}`,
    String(steps),
    `${sum(all, (figures) => figures.stepsBackWrong)} (${percent(
      sum(all, (figures) => figures.stepsBackWrong),
      steps,
    )})`,
    String(waits),
    percent(
      sum(all, (figures) => figures.waitsUnfounded),
      waits,
    ),
    percent(
      sum(all, (figures) => figures.covered.wilson),
      covered,
    ),
    percent(
      sum(all, (figures) => figures.covered.beta),
      covered,
    ),
  ];
}

const changedColumns = ["learners", "effect's interval holds", "curve's interval holds", "decline said unfounded"];

/** Each site once at each of the stages of an act that can be set farther away. */
function changedRow(kind: string, make: SiteMaker, seeds: readonly number[]): string[] {
  const all = seeds.flatMap((seed) => [1, 2, 3].map((stage) => judgeChanges(make(seed), firstDateOf(seed), stage)));
  const share = (of: (figures: (typeof all)[number]) => Held) => {
    const held = all.map(of).reduce((total, each) => total + each.held, 0);
    const count = all.map(of).reduce((total, each) => total + each.of, 0);
    return `${held} of ${count} (${percent(held, count)})`;
  };
  return [
    kind,
    share(({ effects }) => effects),
    share(({ curve }) => curve),
    share(({ declines }) => ({ held: declines.unfounded, of: declines.sites })),
  ];
}

const neverColumns = ["stage", "sites", "called ready", "95 % interval", "true share then"];

function neverRows(make: SiteMaker | undefined, seeds: readonly number[]): string[][] {
  if (make === undefined) return [];
  return stages.map((stage, firstStage) => {
    const shares: number[] = [];
    for (const seed of seeds) {
      const options = { firstDate: firstDateOf(seed), days: 56, firstStage, followsAdvice: false };
      for (const { advice, lived } of liveProgramme(make(seed), options)) {
        const isReady = advice.kind === "moveOn" || advice.reasons.includes("lastStage");
        if (!isReady) continue;
        shares.push(lived.truth.actShare);
        break;
      }
    }
    const { low, high } = shareLimits(shares.length, seeds.length);
    const mean = shares.reduce((all, share) => all + share, 0) / shares.length;
    return [
      stage.kind,
      String(seeds.length),
      `${shares.length} (${percent(shares.length, seeds.length)})`,
      `${percent(low, 1)} to ${percent(high, 1)}`,
      shares.length === 0 ? "–" : percent(mean, 1),
    ];
  });
}
