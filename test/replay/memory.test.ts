import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";
import { describe, expect, it } from "vitest";
import { runReplay } from "../../server/replay/run.ts";
import { generateLongLog } from "./longLog.ts";

setFlagsFromString("--expose-gc");
const collectGarbage = runInNewContext("gc") as () => void;

/** How many megabytes live more at the log's end than at its middle, while the replay still holds all that it holds. */
async function growth(reports: number, keep: (line: string) => void, refillBelowGrams?: number): Promise<number> {
  const live: number[] = [];
  async function* measured() {
    let number = 0;
    for (const line of generateLongLog(reports, refillBelowGrams)) {
      keep(line);
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
  // Eight thousand lines make 2.5 MB of text: to keep only a sixth of it would show. (What the feeder's own state learns of its
  // days goes on growing a little for some weeks; it has its bound.)
  const reports = 16_000;

  it("doesn't grow with the log", async () => {
    await growth(2_000, () => undefined); // so that what is compiled and cached once is there already
    expect(await growth(reports, () => undefined)).toBeLessThan(0.4);
  });

  it("doesn't grow with the log of a feeder that is often low on food either", async () => {
    expect(await growth(reports, () => undefined, 400)).toBeLessThan(0.4);
  });

  it("would be seen to grow", async () => {
    const kept: string[] = [];
    expect(await growth(reports, (line) => kept.push(line))).toBeGreaterThan(1.5);
    expect(kept.length).toBeGreaterThan(reports);
  });
});
