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

const folderFor = () => {
  const folder = mkdtempSync(join(tmpdir(), "pieward-clock-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
};
const jumping = Math.ceil(kills / 5);

it(`dates all of it right through ${jumping} kills while the board's clock jumps several times a second, and to 1970`, {
  timeout: jumping * 15_000 + 120_000,
}, async () => {
  const { problems, ...figures } = await runKilledPair(folderFor(), jumping, seededRandom(seed + 1), "jumps");
  process.stdout.write(`${JSON.stringify(figures)}\n`);
  expect(problems).toEqual([]);
  expect(Math.min(figures.jumps.inPortions, figures.jumps.inReports)).toBeGreaterThan(jumping / 2);
});

it("would find a program that goes by that clock", { timeout: 240_000 }, async () => {
  const found = await runKilledPair(folderFor(), 3, seededRandom(seed + 2), "trusted").then(
    ({ problems }) => problems,
    (error: unknown) => [String(error)], // what it never sends is found, too
  );
  expect(found).not.toEqual([]);
});
