import { parseArgs } from "node:util";

export interface ReplayCommand {
  readonly log: string;
  readonly settings: string | null; // a file
  readonly summary: boolean;
  readonly hourly: boolean;
}

export const usage = `npm run replay -- log.ndjson
  --settings <file>   JSON with settings for feeders that have none in the log
  --summary           at the end: alarms by feeder and week, and how soon true faults were detected
  --hourly            the hopper at each full hour too, not only at each midnight`;

export function readCommandLine(
  args: readonly string[],
):
  | { readonly kind: "read"; readonly line: ReplayCommand }
  | { readonly kind: "wrong"; readonly problems: readonly string[] } {
  const problems: string[] = [];
  const { values, positionals } = parseOptions(args, problems);
  const [log, ...others] = positionals;
  if (problems.length === 0 && log === undefined) problems.push("the log's file is missing");
  if (others.length > 0) problems.push(`one log at a time, got also ${others.join(", ")}`);
  if (problems.length > 0 || log === undefined) return { kind: "wrong", problems };
  const { settings = null, summary = false, hourly = false } = values;
  return { kind: "read", line: { log, settings, summary, hourly } };
}

const flag = { type: "boolean" } as const;
const known = { settings: { type: "string" }, summary: flag, hourly: flag } as const;

interface Options {
  readonly values: { settings?: string; summary?: boolean; hourly?: boolean };
  readonly positionals: readonly string[];
}

function parseOptions(args: readonly string[], problems: string[]): Options {
  try {
    return parseArgs({ args: [...args], options: known, strict: true, allowPositionals: true });
  } catch (error) {
    problems.push((error as Error).message);
    return { values: {}, positionals: [] };
  }
}
