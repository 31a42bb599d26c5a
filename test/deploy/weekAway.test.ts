import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { runWeek } from "../faults/week/week.ts";

/** A short form of `test/faults/week.faults.ts`: few birds. */

const hasPython = spawnSync("python3", ["-c", "import sys; sys.exit(sys.version_info < (3, 9))"]).status === 0;

it.skipIf(!hasPython)(
  "a feeder follows its plan for a week without a server, and then all that happened arrives once, in order and dated right",
  { timeout: 120_000 },
  async () => {
    const folder = mkdtempSync(join(tmpdir(), "pieward-week-"));
    onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
    const { problems, waiting, freeFood } = await runWeek({ folder, daysAway: 7, birdsADay: 30, seed: 5 });
    expect(problems).toEqual([]);
    expect(waiting).toBeGreaterThan(300);
    expect(freeFood).toBeGreaterThan(30);
  },
);
