import { parseArgs } from "node:util";

export interface ReplayCommand {
  readonly log: string;
  readonly settings: string | null; // a file
  readonly summary: boolean;
  readonly hourly: boolean;
  /** Files with settings to compare, at most two. */
  readonly compare: readonly string[];
  /** Files for what rang: written, and read to compare with. */
  readonly save: string | null;
  readonly against: string | null;
}

export const usage = `npm run replay -- log.ndjson
  --settings <file>   JSON with settings for feeders that have none in the log
  --summary           at the end: alarms by feeder and week, and how soon true faults were detected
  --hourly            the hopper at each full hour too, not only at each midnight

What would have rung, in a table in place of the lines above:
  --compare <file>    JSON with settings in place of those in the log, compared with the log's own; twice: with each other
  --save <file>       writes what rang, a small file for --against
  --against <file>    compares with what another version saved of the same log`;

export function readCommandLine(
  args: readonly string[],
):
  | { readonly kind: "read"; readonly line: ReplayCommand }
  | { readonly kind: "wrong"; readonly problems: readonly string[] } {
  const problems: string[] = [];
  const { values, positionals } = parseOptions(args, problems);
  const [log, ...others] = positionals;
  if (problems.length === 0 && log === undefined) problems.push("the log's file is missing");
  problems.push(...contradictions(values));
  if (others.length > 0) problems.push(`one log at a time, got also ${others.join(", ")}`);
  if (problems.length > 0 || log === undefined) return { kind: "wrong", problems };
  const { settings = null, summary = false, hourly = false, compare = [], save = null, against = null } = values;
  return { kind: "read", line: { log, settings, summary, hourly, compare, save, against } };
}

/** Options that contradict each other. */
function contradictions(values: Options["values"]): readonly string[] {
  const { summary = false, hourly = false, compare = [], save, against } = values;
  const [compares, saves, isAgainst] = [compare.length > 0, save !== undefined, against !== undefined];
  if (!(compares || saves || isAgainst)) return [];
  const rules: readonly (readonly [boolean, string])[] = [
    [compare.length > 2, "--compare: two files at most"],
    [compares && isAgainst, "--against: the log is compared as it is, without --compare"],
    [compares && saves, "--save: the log is saved as it is, without --compare"],
    [saves && save === against, "--save: would overwrite the file of --against"],
    [summary, "--summary: is not for a comparison"],
    [hourly, "--hourly: is not for a comparison"],
  ];
  return rules.flatMap(([isBroken, problem]) => (isBroken ? [problem] : []));
}

const flag = { type: "boolean" } as const;
const file = { type: "string" } as const;
const files = { type: "string", multiple: true } as const;
const known = { settings: file, summary: flag, hourly: flag, compare: files, save: file, against: file } as const;

interface Options {
  readonly values: {
    settings?: string;
    summary?: boolean;
    hourly?: boolean;
    compare?: string[];
    save?: string;
    against?: string;
  };
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
