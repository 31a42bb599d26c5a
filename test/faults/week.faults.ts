import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { runWeek } from "./week/week.ts";

/** `SEED=… DAYS_AWAY=… npm run test:faults` */
const seed = Number(process.env.SEED ?? "20261130");
const daysAway = Number(process.env.DAYS_AWAY ?? "10");

it(`sends ${daysAway} days of many birds once, in order and dated right, when the server is back`, {
  timeout: 1_800_000,
}, async () => {
  const folder = mkdtempSync(join(tmpdir(), "pieward-week-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const { problems, ...figures } = await runWeek({ folder, daysAway, birdsADay: 300, seed });
  process.stdout.write(`${JSON.stringify(figures)}\n`);
  expect(problems).toEqual([]);
  expect(figures.waiting).toBeGreaterThan(4_000); // more than two reports can carry
});
