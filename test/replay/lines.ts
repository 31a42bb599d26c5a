import { after, type Instant, instantOf, isoOf, minutes } from "../../server/domain/instant.ts";
import { runReplay } from "../../server/replay/run.ts";

/** Lines of a log as a test would write them: feeder Rowan, from a winter's midday on. */
const noon = instantOf("2026-01-15T12:00:00Z");
export const at = (minute: number): Instant => after(noon, minutes(minute));
export const iso = (minute: number): string => isoOf(at(minute));

export const settings = (minute: number, said: object, feeder = "rowan") =>
  JSON.stringify({ at: iso(minute), feeder, settings: said });
export const keeper = (minute: number, said: object) =>
  JSON.stringify({ at: iso(minute), feeder: "rowan", keeper: said });
export const check = (minute: number, said: "complete" | "checked") =>
  JSON.stringify({ at: iso(minute), feeder: "rowan", check: said });
export const truth = (minute: number, fault: string, phase: string) =>
  JSON.stringify({ at: iso(minute), feeder: "rowan", truth: { fault, phase } });
export const report = (minute: number, said: object = {}, feeder = "rowan") => {
  const posted = { boot: "b-1", sentUptimeMs: (1_000 + minute) * 60_000, ...said };
  return JSON.stringify({ receivedAt: iso(minute), feeder, report: posted });
};

/** A portion just before the minute, of which the chute sensor saw so many pieces. */
export const portion = (minute: number, seq: number, chuteCount: number) => ({
  seq,
  uptimeMs: (1_000 + minute) * 60_000 - 5_000,
  kind: "portion",
  cause: "timer",
  motorMs: 900,
  meanMilliamps: 240,
  peakMilliamps: 500,
  chuteCount,
});

export interface ReplayOutput {
  readonly wrong: number;
  readonly told: readonly Record<string, unknown>[];
  readonly complaints: readonly string[];
}

export async function replay(
  lines: Iterable<string>,
  options: { settings?: object; hourly?: boolean; summary?: boolean } = {},
): Promise<ReplayOutput> {
  const told: Record<string, unknown>[] = [];
  const complaints: string[] = [];
  async function* oneByOne() {
    yield* lines;
  }
  const wrong = await runReplay(oneByOne(), {
    settings: options.settings ?? {},
    hourly: options.hourly ?? false,
    summary: options.summary ?? false,
    out: (text) => {
      told.push(JSON.parse(text) as Record<string, unknown>);
      return undefined;
    },
    printError: (text) => complaints.push(text),
  });
  return { wrong, told, complaints };
}
