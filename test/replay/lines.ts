import { after, type Instant, instantOf, isoOf, minutes } from "../../server/domain/instant.ts";
import { runReplay } from "../../server/replay/run.ts";

/** Lines of a log for tests: feeder Rowan, from noon on a winter day. */
const noon = instantOf("2026-01-15T12:00:00Z");
export const at = (minute: number): Instant => after(noon, minutes(minute));
export const iso = (minute: number): string => isoOf(at(minute));

export const settings = (minute: number, entered: object, feeder = "rowan") =>
  JSON.stringify({ at: iso(minute), feeder, settings: entered });
export const keeper = (minute: number, action: object) =>
  JSON.stringify({ at: iso(minute), feeder: "rowan", keeper: action });
export const check = (minute: number, kind: "complete" | "checked") =>
  JSON.stringify({ at: iso(minute), feeder: "rowan", check: kind });
export const truth = (minute: number, fault: string, phase: string) =>
  JSON.stringify({ at: iso(minute), feeder: "rowan", truth: { fault, phase } });
export const report = (minute: number, content: object = {}, feeder = "rowan") => {
  const posted = { boot: "b-1", sentUptimeMs: (1_000 + minute) * 60_000, ...content };
  return JSON.stringify({ receivedAt: iso(minute), feeder, report: posted });
};

/** A portion just before the minute, of which the chute sensor counted so many pieces. */
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
  readonly output: readonly Record<string, unknown>[];
  readonly problems: readonly string[];
}

export async function replay(
  lines: Iterable<string>,
  options: { settings?: object; hourly?: boolean; summary?: boolean } = {},
): Promise<ReplayOutput> {
  const output: Record<string, unknown>[] = [];
  const problems: string[] = [];
  async function* asyncLines() {
    yield* lines;
  }
  const wrong = await runReplay(asyncLines(), {
    settings: options.settings ?? {},
    hourly: options.hourly ?? false,
    summary: options.summary ?? false,
    out: (text) => {
      output.push(JSON.parse(text) as Record<string, unknown>);
      return undefined;
    },
    printError: (text) => problems.push(text),
  });
  return { wrong, output, problems };
}
