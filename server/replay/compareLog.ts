import type { LoggedSettings } from "../contract/feederLog.ts";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import { compareRings, type Pair } from "../domain/comparison/compareRings.ts";
import type { RingRecord } from "../domain/comparison/ringRecord.ts";
import { earlier, isoOf, later } from "../domain/instant.ts";
import { comparisonTable } from "./comparisonTable.ts";
import { readLine } from "./logLine.ts";
import { ParallelReplay, type ReplayedRings } from "./parallelReplay.ts";
import { ringFileText, type SavedRings } from "./ringFile.ts";

export interface ComparisonRun {
  /** For feeders whose settings are not in the log. */
  readonly settings: LoggedSettings;
  /** In place of those in the log: none, one to compare with the log's own, or two to compare with each other. */
  readonly compare: readonly NamedSettings[];
  /** What rang in an earlier replay of this log; null: none. */
  readonly against: { readonly name: string; readonly saved: SavedRings } | null;
  readonly out: (text: string) => void;
  readonly printError: (text: string) => void;
  /** Takes the content of the file for a later `against`; null: none is wanted. */
  readonly save: ((text: string) => void) | null;
}

export interface NamedSettings {
  readonly name: string;
  readonly settings: LoggedSettings;
}

const asLogged: NamedSettings = { name: "as in the log", settings: {} };

/** @returns how many lines could not be read. @throws Error where there is nothing to compare */
export async function runComparison(lines: AsyncIterable<string>, run: ComparisonRun): Promise<number> {
  const { settings, compare, against } = run;
  const named = compare.length < 2 ? [asLogged, ...compare] : compare;
  const replay = new ParallelReplay(named.map((each) => ({ settings, override: each.settings })));
  const wrong = await takeLines(replay, lines, run.printError);
  const replayed = replay.result();
  if (replayed === null) throw new Error("the log has no line that can be replayed");
  const [first, second] = replayed.records;
  if (first === undefined) throw new Error("expected at least one replay");
  if (run.save !== null) {
    run.save(ringFileText({ ...replayed, ...first }));
    run.out(`saved: ${first.rings.length} rings and notes from ${isoOf(replayed.from)} to ${isoOf(replayed.to)}`);
  }
  if (against !== null) {
    const problem = otherLogProblem(replayed, against.saved);
    if (problem !== null) throw new Error(`${against.name}: ${problem.field}: ${problem.problem}`);
    printTable(
      run,
      { ...replayed, ...commonSpan(replayed, against.saved) },
      [against.name, "this version"],
      [against.saved, first],
    );
  }
  if (second !== undefined) printTable(run, replayed, [named[0]?.name ?? "", named[1]?.name ?? ""], [first, second]);
  return wrong;
}

async function takeLines(
  replay: ParallelReplay,
  lines: AsyncIterable<string>,
  printError: ComparisonRun["printError"],
): Promise<number> {
  let [number, wrong] = [0, 0];
  for await (const text of lines) {
    number += 1;
    if (text.trim() === "") continue;
    const read = readLine(text);
    const problems = read.kind === "wrong" ? read.problems : replay.take(read.line);
    if (problems.length > 0) wrong += 1;
    for (const { field, problem } of problems) printError(`line ${number}: ${field}: ${problem}`);
  }
  return wrong;
}

function printTable(
  { out }: ComparisonRun,
  { from, to, feeders, readingsDropped }: ReplayedRings,
  names: Pair<string>,
  records: Pair<RingRecord>,
): void {
  const comparison = compareRings(records, { from, to });
  for (const line of comparisonTable(comparison, { names, from, to, feeders, readingsDropped })) out(line);
}

/** A record goes on after it was saved: what both have is compared. */
const commonSpan = (replayed: ReplayedRings, saved: SavedRings) => ({
  from: later(replayed.from, saved.from),
  to: earlier(replayed.to, saved.to),
});

function otherLogProblem(replayed: ReplayedRings, saved: SavedRings): FieldProblem | null {
  const unknown = saved.feeders.filter((feeder) => !replayed.feeders.includes(feeder));
  if (unknown.length > 0) return { field: "feeders", problem: `${unknown.join(", ")} isn't in this log` };
  const { from, to } = commonSpan(replayed, saved);
  if (from < to) return null;
  return { field: "from", problem: `is ${isoOf(saved.from)}, and the file and this log have no time in common` };
}
