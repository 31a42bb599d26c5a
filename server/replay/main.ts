import { once } from "node:events";
import { createReadStream, readFileSync, writeFileSync } from "node:fs";
import { createInterface } from "node:readline";
import { type LoggedSettings, loggedSettings } from "../contract/feederLog.ts";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import { type ReplayCommand, readCommandLine, usage } from "./commandLine.ts";
import { type ComparisonRun, runComparison } from "./compareLog.ts";
import { fieldProblems } from "./logLine.ts";
import { readRingFile, type SavedRings } from "./ringFile.ts";
import { runReplay } from "./run.ts";

/**
 * `npm run replay`: handles a recorded log by the server's own steps, in virtual time. Ends with 0 where every line was taken, 1 where
 * some could not be read, 2 where nothing could be replayed.
 */
async function main(line: ReplayCommand): Promise<number> {
  const settings = line.settings === null ? {} : readSettings(line.settings);
  const comparison = readComparison(line, settings);
  const input = createReadStream(line.log);
  const opened = once(input, "open"); // rejects where the file can't be opened
  await opened;
  let failure: Error | null = null;
  const lines = createInterface({ input, crlfDelay: Number.POSITIVE_INFINITY });
  input.once("error", (error) => {
    failure = error;
    lines.close();
  });
  const wrong =
    comparison === null
      ? await runReplay(lines, { ...line, settings, out: writeOut, printError })
      : await runComparison(lines, comparison);
  if (failure) throw failure;
  return wrong > 0 ? 1 : 0;
}

const writeOut = (text: string) =>
  process.stdout.write(text) ? undefined : once(process.stdout, "drain").then(() => undefined);
const printError = (text: string) => void process.stderr.write(`${text}\n`);

/** Reads all files before the log, which takes longer; null where nothing is to be compared. */
function readComparison({ compare, save, against }: ReplayCommand, settings: LoggedSettings): ComparisonRun | null {
  if (compare.length === 0 && save === null && against === null) return null;
  return {
    settings,
    compare: compare.map((name) => ({ name, settings: readSettings(name) })),
    against: against === null ? null : { name: against, saved: readSavedRings(against) },
    save: save === null ? null : (text) => writeFileSync(save, text),
    out: (text) => void process.stdout.write(`${text}\n`),
    printError,
  };
}

function readSettings(file: string): LoggedSettings {
  const read = loggedSettings.safeParse(readJson(file));
  if (read.success) return read.data;
  throw new Error(problemTexts(file, fieldProblems(read.error)));
}

function readSavedRings(file: string): SavedRings {
  const read = readRingFile(readJson(file));
  if (read.kind === "read") return read.saved;
  throw new Error(problemTexts(file, read.problems));
}

function readJson(file: string): unknown {
  const text = readFileSync(file, "utf8");
  try {
    return JSON.parse(text);
  } catch (error) {
    throw new Error(`${file}: is no JSON: ${(error as SyntaxError).message}`, { cause: error });
  }
}

const problemTexts = (file: string, problems: readonly FieldProblem[]): string =>
  problems.map(({ field, problem }) => `${file}: ${field}: ${problem}`).join("\n");

// A reader such as `head` may close the pipe early.
process.stdout.on("error", (error: NodeJS.ErrnoException) => process.exit(error.code === "EPIPE" ? 0 : 1));

const read = readCommandLine(process.argv.slice(2));
if (read.kind === "wrong") {
  for (const problem of [...read.problems, usage]) printError(problem);
  process.exitCode = 2;
} else {
  main(read.line).then(
    (code) => {
      process.exitCode = code;
    },
    (error: unknown) => {
      printError(error instanceof Error ? error.message : String(error));
      process.exitCode = 2;
    },
  );
}
