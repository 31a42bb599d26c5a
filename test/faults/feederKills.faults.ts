import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { seededRandom } from "../../server/practice/random.ts";
import { runKilledPair } from "./killedPair/killedPair.ts";

/** `SEED=… FEEDER_KILLS=… npm run test:faults`: the same moments are chosen, but how far each got by then differs. */
const seed = Number(process.env.SEED ?? "20261130");
const kills = Number(process.env.FEEDER_KILLS ?? "300");

it(`keeps every promise through ${kills} kills of the feeder's program or the server, over a poor line`, {
  timeout: kills * 15_000 + 120_000,
}, async () => {
  const folder = mkdtempSync(join(tmpdir(), "pieward-pair-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const { problems, ...figures } = await runKilledPair(folder, kills, seededRandom(seed));
  process.stdout.write(`${JSON.stringify(figures)}\n`);
  expect(problems).toEqual([]);
  expect(Math.min(figures.killed.feeder, figures.killed.server)).toBeGreaterThan(kills / 5);
  expect(figures.cutShort).toBeGreaterThan(0);
  expect(figures.runs).toBeGreaterThan(kills / 2);
});
