import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { seededRandom } from "../../server/practice/random.ts";
import { runKilledPair } from "../faults/killedPair/killedPair.ts";
import { problemsOf } from "../faults/killedPair/promises.ts";

/** A short form of `test/faults/feederKills.faults.ts`, and proof that what it checks would be found. */

const hasPython = spawnSync("python3", ["-c", "import sys; sys.exit(sys.version_info < (3, 9))"]).status === 0;

it.skipIf(!hasPython)(
  "a feeder and a server keep every promise through six kills over a poor line",
  {
    timeout: 240_000,
  },
  async () => {
    const folder = mkdtempSync(join(tmpdir(), "pieward-pair-"));
    onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
    const { problems, runs } = await runKilledPair(folder, 6, seededRandom(11));
    expect(problems).toEqual([]);
    expect(runs).toBeGreaterThan(0);
  },
);

it.skipIf(!hasPython)(
  "a board's clock that jumps forwards, backwards and to 1970 with each power cut changes nothing",
  { timeout: 240_000 },
  async () => {
    const folder = mkdtempSync(join(tmpdir(), "pieward-clock-"));
    onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
    const { problems, runs, jumps } = await runKilledPair(folder, 3, seededRandom(12), "jumps");
    expect(problems).toEqual([]);
    expect(runs).toBeGreaterThan(0);
    expect(Math.min(jumps.inPortions, jumps.inReports), JSON.stringify(jumps)).toBeGreaterThan(0);
  },
);

describe("what a killed pair is checked for", () => {
  const receivedAt = "2026-01-15T09:00:10.000Z"; // sent 10 s after the start
  const start = Date.parse("2026-01-15T09:00:00.000Z") / 1_000;
  const deposit = (seq: number) => ({ seq, uptimeMs: 1_000 * seq, kind: "deposit" });
  const portion = (seq: number, paysFor: number, more: object = {}) => ({
    ...{ seq, uptimeMs: 1_000 * seq, kind: "portion", paysFor },
    ...more,
  });
  const order = (seq: number, id: string) => ({
    seq,
    uptimeMs: 1_000 * seq,
    kind: "order",
    order: id,
    outcome: "done",
  });
  const runs = [start + 2, start + 4];
  const sound = [deposit(1), portion(2, 1), deposit(3), portion(4, 3)];
  const plan = { version: 1, confirmedVersion: 1 } as never;
  const check = (events: readonly object[], at: readonly number[] = runs, ofPlan = plan) =>
    problemsOf(
      JSON.stringify({ receivedAt, feeder: "rowan", report: { boot: "b-0", sentUptimeMs: 10_000, events } }),
      {
        boots: ["b-0"],
        runsOf: () => at,
        orders: new Map([
          ["p", "pause"],
          ["r", "resume"],
        ]),
      },
      ofPlan,
    ).problems;

  it("finds nothing in a sound record", () => {
    expect(check(sound)).toEqual([]);
    expect(check([...sound, order(5, "p"), order(6, "r"), deposit(7), portion(8, 7)], [...runs, start + 8])).toEqual(
      [],
    );
    expect(check([...sound, deposit(5), portion(6, 5, { cutShort: true })])).toEqual([]); // killed before the motor started
  });

  it.each([
    ["a lost event", [deposit(1), deposit(3), portion(4, 3)], [start + 4]],
    ["a repeated one", [deposit(1), deposit(1), portion(2, 1)], [start + 2]],
    ["a run that was never reported", sound, [...runs, start + 6]],
    ["a portion that never began, called complete", [...sound, deposit(5), portion(6, 5)], runs],
    ["a deposit that is paid twice", [deposit(1), portion(2, 1), portion(3, 1)], [start + 2, start + 3]],
    ["a portion for what is no deposit", [deposit(1), portion(2, 9)], [start + 2]],
    ["a wrong time", sound, [start + 2, start + 5.2]],
    ["food while paused", [deposit(1), order(2, "p"), portion(3, 1)], [start + 3]],
  ])("finds %s", (_, events, at) => {
    expect(check(events, at)).not.toEqual([]);
  });

  it("finds a plan that is not in force", () => {
    expect(check(sound, runs, { version: 2, confirmedVersion: 1 } as never)).toEqual([
      "the plan in force is not the server's",
    ]);
  });
});
