import { once } from "node:events";
import { createReadStream, readFileSync } from "node:fs";
import { createInterface } from "node:readline";
import { type LoggedSettings, loggedSettings } from "../contract/feederLog.ts";
import { type ReplayCommand, readCommandLine, usage } from "./commandLine.ts";
import { fieldProblems } from "./logLine.ts";
import { runReplay } from "./run.ts";

/**
 * `npm run replay`: handles a recorded log by the server's own steps, in virtual time. Ends with 0 where every line was taken, 1 where
 * some could not be read, 2 where nothing could be replayed.
 */
async function main(line: ReplayCommand): Promise<number> {
  const settings = line.settings === null ? {} : readSettings(line.settings);
  const input = createReadStream(line.log);
  const opened = once(input, "open"); // rejects where the file can't be opened
  await opened;
  let failure: Error | null = null;
  const lines = createInterface({ input, crlfDelay: Number.POSITIVE_INFINITY });
  input.once("error", (error) => {
    failure = error;
    lines.close();
  });
  const wrong = await runReplay(lines, {
    ...line,
    settings,
    out: (text) => (process.stdout.write(text) ? undefined : once(process.stdout, "drain").then(() => undefined)),
    printError,
  });
  if (failure) throw failure;
  return wrong > 0 ? 1 : 0;
}

const printError = (text: string) => void process.stderr.write(`${text}\n`);

function readSettings(file: string): LoggedSettings {
  const read = loggedSettings.safeParse(JSON.parse(readFileSync(file, "utf8")));
  if (read.success) return read.data;
  const problems = fieldProblems(read.error).map(({ field, problem }) => `${file}: ${field}: ${problem}`);
  throw new Error(problems.join("\n"));
}

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
