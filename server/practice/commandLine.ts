import { parseArgs } from "node:util";
import { type PracticeFault, practiceFaults } from "../contract/api.ts";
import { hours, minutes, type Span } from "../domain/instant.ts";
import { canHaveFault, feederWithFault, larch, type PracticeSettings, parseFault, rowan } from "./yard.ts";

export interface CommandLine {
  readonly url: string;
  readonly key: string;
  readonly settings: PracticeSettings;
  readonly fault: PracticeFault;
  readonly seed: number;
  readonly history: Span;
  readonly duration: Span | null; // null: until it is told to stop
}

export const usage = `npm run practice -- --url http://127.0.0.1:8080 --key <feeder key>
  --feeder rowan|larch   which practice feeder (by default the one that can have the fault)
  --fault <name>         ${practiceFaults.join(", ")}
  --seed <number>        the same seed, the same weather (default 7)
  --history <hours>      past to tell first, 0 to 36 (default 36)
  --minutes <number>     stop after so many minutes`;

/** Reads the whole command line and names all that is wrong with it at once. */
export function readCommandLine(
  words: readonly string[],
):
  | { readonly kind: "read"; readonly line: CommandLine }
  | { readonly kind: "wrong"; readonly problems: readonly string[] } {
  const problems: string[] = [];
  const said = parseOptions(words, problems);

  const url = said.url ?? "http://127.0.0.1:8080";
  if (!/^https?:\/\/[^\s/]+/.test(url) || !URL.canParse(url))
    problems.push("--url: must be an http: or https: address");
  const key = said.key ?? "";
  if (key === "") problems.push("--key: the feeder's key is needed; the server shows it when the feeder is added");
  const fault = parseFault(said.fault ?? "none");
  const settings = [rowan, larch].find(({ name }) => name.toLowerCase() === feederName(said.feeder, fault));
  if (!settings) problems.push("--feeder: must be rowan or larch");
  if (!fault) problems.push(`--fault: there is no fault named "${said.fault}"`);
  if (settings && fault && !canHaveFault(settings, fault))
    problems.push(`--fault: ${settings.name} can't have "${fault}"`);
  const seed = numberIn("--seed", said.seed, { unsaid: 7, low: 0, high: 2 ** 32 - 1 }, problems);
  const history = numberIn("--history", said.history, { unsaid: 36, low: 0, high: 36 }, problems);
  const lasts =
    said.minutes === undefined
      ? null
      : numberIn("--minutes", said.minutes, { unsaid: 1, low: 0.05, high: 1e5 }, problems);

  if (problems.length > 0 || !settings || !fault) return { kind: "wrong", problems };
  return {
    kind: "read",
    line: {
      url,
      key,
      settings,
      fault,
      seed,
      history: hours(history),
      duration: lasts === null ? null : minutes(lasts),
    },
  };
}

const feederName = (said: string | undefined, fault: PracticeFault | null) =>
  (said ?? feederWithFault(fault ?? "none")).toLowerCase();

const text = { type: "string" } as const;
const known = { url: text, key: text, feeder: text, fault: text, seed: text, history: text, minutes: text };

function parseOptions(words: readonly string[], problems: string[]): { [option in keyof typeof known]?: string } {
  try {
    return parseArgs({ args: [...words], options: known, strict: true }).values;
  } catch (error) {
    problems.push(error instanceof Error ? error.message : String(error));
    return {};
  }
}

function numberIn(
  name: string,
  said: string | undefined,
  { unsaid, low, high }: { readonly unsaid: number; readonly low: number; readonly high: number },
  problems: string[],
): number {
  if (said === undefined) return unsaid;
  const value = Number(said);
  if (said.trim() !== "" && value >= low && value <= high) return value;
  problems.push(`${name}: must be a number from ${low} to ${high}, got "${said}"`);
  return unsaid;
}
