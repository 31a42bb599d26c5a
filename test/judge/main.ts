/**
 * `npm run judge -- [world …]`: what the server concludes on feeders that nobody tuned it to.
 *
 * Goal: unfounded urgent alarms a feeder-year, alarms a week, whether intervals keep their word, and how planted faults are told, in each world
 * of test/worlds. Method: stories of healthy feeders, of feeders that run out and of planted faults, through the server's own steps in virtual
 * time, each beside the world's truth (founded.ts says what counts as true). Seeds are drawn anew each time and printed, so that nobody has seen
 * them before; JUDGE_SEED=… repeats a run, JUDGE_SHOW=1 prints each unfounded alarm. JUDGE_SEEDS (feeders a cell), JUDGE_DAYS, JUDGE_EVERY (s between reports),
 * JUDGE_PARTS=healthy,runOuts,faults,reasons, JUDGE_SUBSETS=no chute,… and JUDGE_FAULTS=trayJammed,… for some of them: a cell has the same seeds
 * alone as among all. Reasons, which are not among the usual three parts, counts the words of alarms that contradict what the feeder has sent
 * (reasons/contradictions.ts; JUDGE_ROUND pairs faults with other sensors). The sealed world is judged only where it is named.
 */
import { randomInt } from "node:crypto";
import { formatTable } from "../evaluation/report.ts";
import { augerWorld } from "../worlds/auger/augerWorld.ts";
import { beltWorld } from "../worlds/belt/beltWorld.ts";
import { sealedWorld } from "../worlds/sealed/sealedWorld.ts";
import { sixDispensersWorld } from "../worlds/sixDispensers/sixDispensersWorld.ts";
import { trayWorld } from "../worlds/tray/trayWorld.ts";
import { wheelWorld } from "../worlds/wheel/wheelWorld.ts";
import { type Story, type World, worldFaults } from "../worlds/world.ts";
import { yardWorld } from "../worlds/yard/yardWorld.ts";
import { chosenNames } from "./chosenNames.ts";
import { judgeStory, type StoryFigures } from "./judgeStory.ts";
import { judgeReasons } from "./reasons/judgeReasons.ts";
import { brokenTexts, reasonColumns, reasonRow, reasonStories } from "./reasons/reasonStories.ts";
import { type SubsetName, subsetNames, subsets } from "./subsets.ts";
import {
  faultColumns,
  faultRow,
  healthyColumns,
  healthyRow,
  notPlantedRow,
  runOutColumns,
  runOutRow,
} from "./tables.ts";
import { judgeTraining } from "./training/judgeTraining.ts";

const worlds = {
  auger: augerWorld,
  wheel: wheelWorld,
  tray: trayWorld,
  sixDispensers: sixDispensersWorld,
  belt: beltWorld,
  yard: yardWorld,
  sealed: sealedWorld,
} as const;
type WorldName = keyof typeof worlds;
const worldNames = Object.keys(worlds) as WorldName[];
/** What a reader of its figures must know. */
const remarks: Partial<Record<WorldName, string>> = { yard: "detectors were developed on this one" };

const firstSeed = Number(process.env.JUDGE_SEED ?? randomInt(1, 1_000_000_000));
const seedsEach = Number(process.env.JUDGE_SEEDS ?? 6);
const healthyDays = Number(process.env.JUDGE_DAYS ?? 60);
const faultAtDays = 20;
const faultDays = 30;
const foodOutDays = 50; // a hopper may last for weeks
const every = Number(process.env.JUDGE_EVERY ?? 300) as Story["reportEverySeconds"];
const usualParts = ["healthy", "runOuts", "faults"] as const;
const parts = chosenNames("JUDGE_PARTS", (process.env.JUDGE_PARTS ?? usualParts.join()).split(","), [
  ...usualParts,
  "reasons",
]);
const wantedSubsets = chosenNames("JUDGE_SUBSETS", process.env.JUDGE_SUBSETS?.split(","), subsetNames);
const wantedFaults = chosenNames("JUDGE_FAULTS", process.env.JUDGE_FAULTS?.split(","), worldFaults);

const dayLong = 86_400_000;

/** All cells of one world, in the order of the tables: each has its own seeds, also where it is judged alone. */
const cells = [
  ...subsetNames.map((subset) => `healthy ${subset}`),
  ...subsetNames.map((subset) => `runOuts ${subset}`),
  ...worldFaults.map((fault) => `faults ${fault}`),
];

interface Cell {
  readonly name: string;
  readonly subset: SubsetName;
  readonly story: Pick<Story, "days" | "fault" | "refills">;
}

function tell(world: World, { name, subset, story }: Cell): StoryFigures[] {
  const before = firstSeed + seedsEach * cells.indexOf(name);
  return Array.from({ length: seedsEach }, (_, index) => {
    const seed = before + index + 1;
    const figures = judgeStory(world, { seed, reportEverySeconds: every, sensors: subsets[subset], ...story });
    if (process.env.JUDGE_SHOW === "1" && story.fault === null)
      showUnfounded(figures, `${world.name} ${subset} ${seed}`);
    return figures;
  });
}

/** For whoever looks into a false alarm: never used on the sealed world. */
function showUnfounded({ alarms }: StoryFigures, of: string): void {
  for (const { fault, priority, founded, reason } of alarms)
    if (!founded && priority !== "note") process.stderr.write(`${of} ${priority} ${fault}: ${reason}\n`);
}

function judgeWorld(name: WorldName): void {
  const remark = remarks[name];
  const title = remark === undefined ? name : `${name} (${remark})`;
  if (parts.includes("healthy")) print(healthyTable(title, worlds[name]));
  if (parts.includes("runOuts")) print(runOutTable(title, worlds[name]));
  if (parts.includes("faults")) print(faultTable(title, worlds[name]));
  if (parts.includes("reasons")) print(reasonTable(title, worlds[name]));
}

function healthyTable(title: string, world: World): string {
  const story = { days: healthyDays, fault: null, refills: "whenAsked" } as const;
  const rows = wantedSubsets.map((subset) =>
    healthyRow(subset, tell(world, { name: `healthy ${subset}`, subset, story })),
  );
  return formatTable(`${title}: healthy feeders`, healthyColumns, rows);
}

function runOutTable(title: string, world: World): string {
  const story = { days: healthyDays, fault: null, refills: "never" } as const;
  const rows = wantedSubsets.map((subset) =>
    runOutRow(subset, tell(world, { name: `runOuts ${subset}`, subset, story })),
  );
  return formatTable(`${title}: feeders that run out`, runOutColumns, rows);
}

function faultTable(title: string, world: World): string {
  const rows = wantedFaults.map((kind) => {
    if (world.neverPlants?.includes(kind)) return notPlantedRow(kind);
    const isFoodOut = kind === "foodOut";
    const refills = isFoodOut ? "never" : "whenAsked";
    const days = isFoodOut ? foodOutDays : faultDays;
    const story = { days, fault: { kind, at: faultAtDays * dayLong }, refills } as const;
    const stories = tell(world, { name: `faults ${kind}`, subset: "all sensors", story });
    // A hopper that lasts longer than the story has no fault to be told.
    return faultRow(kind, isFoodOut ? stories.filter(({ ranEmpty }) => ranEmpty) : stories);
  });
  return formatTable(`${title}: planted faults, all sensors, after ${faultAtDays} days`, faultColumns, rows);
}

/** Every subset of sensors, `seedsEach` times with other faults. */
function reasonTable(title: string, world: World): string {
  const firstRound = Number(process.env.JUDGE_ROUND ?? 0);
  let seed = firstSeed;
  const rows = Array.from({ length: seedsEach }, (_, round) => {
    const stories = reasonStories(world, seed, faultDays, firstRound + round);
    seed += stories.length;
    const read = stories.map(({ name: of, story }) => ({ of, figures: judgeReasons(world, story) }));
    if (process.env.JUDGE_SHOW === "1")
      for (const { of, figures } of read)
        for (const text of brokenTexts(of, figures)) process.stderr.write(`${text}\n`);
    return reasonRow(
      `${firstRound + round}`,
      read.map(({ figures }) => figures),
    );
  });
  return formatTable(`${title}: reasons in force`, reasonColumns, rows);
}

const print = (text: string): void => void process.stdout.write(`${text}\n`);

const named = process.argv.slice(2);
const usual = worldNames.filter((name) => name !== "sealed");
const isTraining = named[0] === "training";
const wanted = named.length === 0 || isTraining ? usual : chosenNames("world", named, worldNames);
if (isTraining) judgeTraining();
else {
  print(`${seedsEach} feeders a cell from seed ${firstSeed}, ${healthyDays} days, a report each ${every} s`);
  for (const name of wanted) judgeWorld(name);
}
