import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";
import { describe, expect, it } from "vitest";
import { runReplay } from "../../server/replay/run.ts";
import { longLog } from "./longLog.ts";

setFlagsFromString("--expose-gc");
const collectGarbage = runInNewContext("gc") as () => void;

/** How many megabytes live more at the log's end than at its quarter, while the replay still holds all that it holds. */
async function growth(reports: number, keep: (line: string) => void): Promise<number> {
  const live: number[] = [];
  async function* measured() {
    let number = 0;
    for (const line of longLog(reports)) {
      keep(line);
      yield line;
      number += 1;
      if (number === reports / 4 || number === reports) {
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
    complain: (text) => expect.fail(text),
  });
  expect(wrong).toBe(0);
  const [quarter, whole] = live;
  if (quarter === undefined || whole === undefined) throw new Error("expected to measure twice");
  return whole - quarter;
}

describe("a replay's memory", { timeout: 60_000 }, () => {
  // Sixteen thousand lines make 5 MB of text: to keep only a tenth of it would show.
  const reports = 16_000;

  it("doesn't grow with the log", async () => {
    await growth(2_000, () => undefined); // so that what is compiled and cached once is there already
    expect(await growth(reports, () => undefined)).toBeLessThan(0.5);
  });

  it("would be seen to grow", async () => {
    const kept: string[] = [];
    expect(await growth(reports, (line) => kept.push(line))).toBeGreaterThan(2);
    expect(kept.length).toBeGreaterThan(reports);
  });
});
