import type { LoggedSettings } from "../contract/feederLog.ts";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import { readLine } from "./logLine.ts";
import { Replay } from "./replay.ts";

export interface ReplayRun {
  readonly settings: LoggedSettings;
  readonly hourly: boolean;
  readonly summary: boolean;
  /** Writes a line of output; resolves when there is room for more. */
  readonly out: (text: string) => Promise<void> | undefined;
  readonly printError: (text: string) => void;
}

/**
 * Replays one line after the other and stores none. A line that can't be read is reported with its number and its fields, and the
 * rest goes on.
 * @returns how many lines were wrong.
 */
export async function runReplay(lines: AsyncIterable<string>, run: ReplayRun): Promise<number> {
  let texts: string[] = []; // of the current line
  const replay = new Replay({
    settings: run.settings,
    hourly: run.hourly,
    output: (line) => texts.push(JSON.stringify(line)),
  });
  let number = 0;
  let wrong = 0;
  for await (const text of lines) {
    number += 1;
    if (text.trim() === "") continue;
    const read = readLine(text);
    const problems = read.kind === "wrong" ? read.problems : replay.take(read.line);
    if (problems.length > 0) {
      wrong += 1;
      for (const problem of problems) run.printError(problemText(number, problem));
    }
    for (const line of texts) await run.out(`${line}\n`);
    if (texts.length > 0) texts = [];
  }
  const { refused } = replay.counts;
  if (refused > 0) run.printError(`${refused} events or readings were rejected, as the server rejects them`);
  if (run.summary) await run.out(`${JSON.stringify({ summary: replay.counts.summary() })}\n`);
  return wrong;
}

const problemText = (number: number, { field, problem }: FieldProblem) => `line ${number}: ${field}: ${problem}`;
