import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";
import { describe, expect, it } from "vitest";
import { runReplay } from "../../server/replay/run.ts";
import { generateLongLog } from "./longLog.ts";

setFlagsFromString("--expose-gc");
const collectGarbage = runInNewContext("gc") as () => void;

/** How many megabytes the heap grows from the middle of the log to its end. */
async function growth(reports: number, useLine: (line: string) => void, refillBelowGrams?: number): Promise<number> {
  const live: number[] = [];
  async function* measured() {
    let number = 0;
    for (const line of generateLongLog(reports, refillBelowGrams)) {
      useLine(line);
      yield line;
      number += 1;
      if (number === reports / 2 || number === reports) {
        collectGarbage();
        live.push(process.memoryUsage().heapUsed / 1e6);
      }
    }
  }
  const wrong = await runReplay(measured(), {
    settings: {},
    hourly: false,
    summary: true,
    out: () => undefined,
    printError: (text) => expect.fail(text),
  });
  expect(wrong).toBe(0);
  const [half, whole] = live;
  if (half === undefined || whole === undefined) throw new Error("expected to measure twice");
  return whole - half;
}

describe("a replay's memory", { timeout: 60_000 }, () => {
  // Eight thousand lines are 2.5 MB of text: if a sixth of it stayed in memory, the test would fail. (The feeder's own state grows a
  // little for some weeks, up to its bound.)
  const reports = 16_000;

  it("doesn't grow with the log", async () => {
    await growth(2_000, () => undefined); // so that compiled and cached code is already there
    expect(await growth(reports, () => undefined)).toBeLessThan(0.4);
  });

  it("doesn't grow with the log of a feeder that is often low on food either", async () => {
    expect(await growth(reports, () => undefined, 400)).toBeLessThan(0.4);
  });

  it("is measured: stored lines make it grow", async () => {
    const stored: string[] = [];
    expect(await growth(reports, (line) => stored.push(line))).toBeGreaterThan(1.5);
    expect(stored.length).toBeGreaterThan(reports);
  });
});
