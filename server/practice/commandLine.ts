import { parseArgs } from "node:util";
import { type PracticeFault, practiceFaults } from "../contract/api.ts";
import { hours, minutes, type Span } from "../domain/instant.ts";
import { canHaveFault, feederWithFault, larch, type PracticeSettings, parseFault, rowan } from "./yard.ts";

export interface PracticeCommand {
  readonly url: string;
  readonly key: string;
  readonly settings: PracticeSettings;
  readonly fault: PracticeFault;
  readonly seed: number;
  readonly history: Span;
  readonly duration: Span | null; // null: until it is stopped
}

export const usage = `npm run practice -- --url http://127.0.0.1:8080 --key <feeder key>
  --feeder rowan|larch   which practice feeder (by default the one that can have the fault)
  --fault <name>         ${practiceFaults.join(", ")}
  --seed <number>        the same seed, the same weather (default 7)
  --history <hours>      past to report first, 0 to 36 (default 36)
  --minutes <number>     stop after so many minutes`;

/** Reads the whole command line and names every problem at once. */
export function readCommandLine(
  args: readonly string[],
):
  | { readonly kind: "read"; readonly line: PracticeCommand }
  | { readonly kind: "wrong"; readonly problems: readonly string[] } {
  const problems: string[] = [];
  const given = parseOptions(args, problems);

  const url = given.url ?? "http://127.0.0.1:8080";
  if (!/^https?:\/\/[^\s/]+/.test(url) || !URL.canParse(url))
    problems.push("--url: must be an http: or https: address");
  const key = given.key ?? "";
  if (key === "") problems.push("--key: the feeder's key is needed; the server shows it when the feeder is added");
  const chosen = readFeederAndFault(given, problems);
  const seed = numberIn("--seed", given.seed, { otherwise: 7, low: 0, high: 2 ** 32 - 1 }, problems);
  const history = hours(numberIn("--history", given.history, { otherwise: 36, low: 0, high: 36 }, problems));
  const duration =
    given.minutes === undefined
      ? null
      : minutes(numberIn("--minutes", given.minutes, { otherwise: 1, low: 0.05, high: 1e5 }, problems));

  if (problems.length > 0 || chosen === null) return { kind: "wrong", problems };
  return { kind: "read", line: { url, key, ...chosen, seed, history, duration } };
}

/** @returns null where there is a problem. */
function readFeederAndFault(
  given: { readonly feeder?: string; readonly fault?: string },
  problems: string[],
): Pick<PracticeCommand, "settings" | "fault"> | null {
  const fault = parseFault(given.fault ?? "none");
  const settings = [rowan, larch].find(({ name }) => name.toLowerCase() === feederName(given.feeder, fault));
  if (!settings) problems.push("--feeder: must be rowan or larch");
  if (!fault) problems.push(`--fault: there is no fault named "${given.fault}"`);
  if (!settings || !fault) return null;
  if (canHaveFault(settings, fault)) return { settings, fault };
  problems.push(`--fault: ${settings.name} can't have "${fault}"`);
  return null;
}

const feederName = (given: string | undefined, fault: PracticeFault | null) =>
  (given ?? feederWithFault(fault ?? "none")).toLowerCase();

const text = { type: "string" } as const;
const options = { url: text, key: text, feeder: text, fault: text, seed: text, history: text, minutes: text };

function parseOptions(args: readonly string[], problems: string[]): { [option in keyof typeof options]?: string } {
  try {
    return parseArgs({ args: [...args], options, strict: true }).values;
  } catch (error) {
    problems.push(error instanceof Error ? error.message : String(error));
    return {};
  }
}

function numberIn(
  name: string,
  given: string | undefined,
  { otherwise, low, high }: { readonly otherwise: number; readonly low: number; readonly high: number },
  problems: string[],
): number {
  if (given === undefined) return otherwise;
  const value = Number(given);
  if (given.trim() !== "" && value >= low && value <= high) return value;
  problems.push(`${name}: must be a number from ${low} to ${high}, got "${given}"`);
  return otherwise;
}
