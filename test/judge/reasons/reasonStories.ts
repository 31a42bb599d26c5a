import { type Story, type World, worldFaults } from "../../worlds/world.ts";
import { type SubsetName, subsetNames, subsets } from "../subsets.ts";
import { rules } from "./contradictions.ts";
import type { BrokenReason, ReasonFigures } from "./judgeReasons.ts";

/** Which stories are read: every world with every subset of sensors, and each fault in turn, so that a few stories meet them all. */

export interface ReasonStory {
  readonly name: string;
  readonly story: Story;
}

/** @param round another one pairs the faults with other subsets. */
export function reasonStories(world: World, firstSeed: number, days: number, round: number): readonly ReasonStory[] {
  const kinds = [...worldFaults.filter((kind) => !world.neverPlants?.includes(kind)), null];
  return subsetNames.map((subset, index) => {
    const kind = kinds[(index + subsetNames.length * round) % kinds.length] ?? null;
    return reasonStory({ world, subset, seed: firstSeed + index, days, kind });
  });
}

interface Cell {
  readonly world: World;
  readonly subset: SubsetName;
  readonly seed: number;
  readonly days: number;
  readonly kind: NonNullable<Story["fault"]>["kind"] | null;
}

function reasonStory({ world, subset, seed, days, kind }: Cell): ReasonStory {
  return {
    name: `${world.name}, ${subset}, seed ${seed}, ${kind ?? "healthy"}`,
    story: {
      seed,
      days,
      reportEverySeconds: 300,
      sensors: subsets[subset],
      fault: kind === null ? null : { kind, at: (days / 2) * 86_400_000 },
      refills: kind === "foodOut" ? "never" : "whenAsked",
    },
  };
}

/** One line for each reason that breaks a rule. */
export const brokenTexts = (name: string, { broken }: Pick<ReasonFigures, "broken">): readonly string[] =>
  broken.map(
    ({ fault, rule, what, reason, moments }: BrokenReason) =>
      `${name}: ${fault}, ${rule} (${what}), ${moments} times: ${reason}`,
  );

export const reasonColumns = ["round", "alarms", "moments", "reasons", ...rules];

/** How many kinds of alarms, moments and reasons were read, and how many reasons broke each rule. */
export const reasonRow = (round: string, read: readonly ReasonFigures[]): string[] => [
  round,
  `${new Set(read.flatMap(({ alarms }) => [...alarms])).size}`,
  `${read.reduce((sum, { moments }) => sum + moments, 0)}`,
  `${read.reduce((sum, { reasons }) => sum + reasons, 0)}`,
  ...rules.map((rule) => `${read.flatMap(({ broken }) => broken).filter((one) => one.rule === rule).length}`),
];
