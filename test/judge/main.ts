/**
 * `npm run judge -- [world …]`: what the server concludes on feeders that nobody tuned it to.
 *
 * Goal: unfounded urgent alarms a feeder-year, alarms a week, whether intervals keep their word, and how planted faults are told, in each world
 * of test/worlds. Method: stories of healthy feeders, of feeders that run out and of planted faults, through the server's own steps in virtual
 * time, each beside the world's truth (founded.ts says what counts as true). Seeds are drawn anew each time and printed, so that nobody has seen
 * them before; JUDGE_SEED=… repeats a run, JUDGE_SHOW=1 prints each unfounded alarm. JUDGE_SEEDS (feeders a cell), JUDGE_DAYS, JUDGE_EVERY (s between reports),
 * JUDGE_PARTS=healthy,runOuts,faults for some of them. The sealed world is judged only where it is named.
 */
import { randomInt } from "node:crypto";
import { formatTable } from "../evaluation/report.ts";
import { augerWorld } from "../worlds/auger/augerWorld.ts";
import { sealedWorld } from "../worlds/sealed/sealedWorld.ts";
import { trayWorld } from "../worlds/tray/trayWorld.ts";
import { wheelWorld } from "../worlds/wheel/wheelWorld.ts";
import { type Story, type World, worldFaults } from "../worlds/world.ts";
import { judgeStory, type StoryFigures } from "./judgeStory.ts";
import { type SubsetName, subsetNames, subsets } from "./subsets.ts";
import { faultColumns, faultRow, healthyColumns, healthyRow, runOutColumns, runOutRow } from "./tables.ts";

const worlds = { auger: augerWorld, wheel: wheelWorld, tray: trayWorld, sealed: sealedWorld } as const;
type WorldName = keyof typeof worlds;

const firstSeed = Number(process.env.JUDGE_SEED ?? randomInt(1, 1_000_000_000));
const seedsEach = Number(process.env.JUDGE_SEEDS ?? 6);
const healthyDays = Number(process.env.JUDGE_DAYS ?? 60);
const faultAtDays = 20;
const faultDays = 30;
const every = Number(process.env.JUDGE_EVERY ?? 300) as Story["reportEverySeconds"];
const parts = new Set((process.env.JUDGE_PARTS ?? "healthy,runOuts,faults").split(","));

const dayLong = 86_400_000;
let seed = firstSeed;

function tell(world: World, subset: SubsetName, story: Pick<Story, "days" | "fault" | "refills">): StoryFigures[] {
  return Array.from({ length: seedsEach }, () => {
    seed += 1;
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
  if (parts.has("healthy")) print(healthyTable(name));
  if (parts.has("runOuts")) print(runOutTable(name));
  if (parts.has("faults")) print(faultTable(name));
}

function healthyTable(name: WorldName): string {
  const rows = subsetNames.map((subset) =>
    healthyRow(subset, tell(worlds[name], subset, { days: healthyDays, fault: null, refills: "whenAsked" })),
  );
  return formatTable(`${name}: healthy feeders`, healthyColumns, rows);
}

function runOutTable(name: WorldName): string {
  const rows = subsetNames.map((subset) =>
    runOutRow(subset, tell(worlds[name], subset, { days: healthyDays, fault: null, refills: "never" })),
  );
  return formatTable(`${name}: feeders that run out`, runOutColumns, rows);
}

function faultTable(name: WorldName): string {
  const rows = worldFaults.map((kind) =>
    faultRow(
      kind,
      tell(worlds[name], "all sensors", {
        days: faultDays,
        fault: { kind, at: faultAtDays * dayLong },
        refills: kind === "foodOut" ? "never" : "whenAsked",
      }),
    ),
  );
  return formatTable(`${name}: planted faults, all sensors, after ${faultAtDays} days`, faultColumns, rows);
}

const print = (text: string): void => void process.stdout.write(`${text}\n`);

function worldsWanted(): readonly WorldName[] {
  const named = process.argv.slice(2);
  const unknown = named.find((name) => !Object.hasOwn(worlds, name));
  if (unknown !== undefined)
    throw new RangeError(`expected a world of ${Object.keys(worlds).join(", ")}, got ${unknown}`);
  return named.length === 0 ? ["auger", "wheel", "tray"] : (named as WorldName[]);
}

const wanted = worldsWanted();
print(`${seedsEach} feeders a cell from seed ${firstSeed}, ${healthyDays} days, a report each ${every} s`);
for (const name of wanted) judgeWorld(name);
