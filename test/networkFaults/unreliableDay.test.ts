import { describe, expect, it } from "vitest";
import { openTestServer } from "../support/testServer.ts";
import { simulateUnreliableDay } from "./unreliableDay.ts";

/** More days than the usual run: `SIM_DAYS=200 npm run test:only -- test/networkFaults`. */
const days = Number(process.env.SIM_DAYS ?? 3);

describe("a day on a bad connection", { timeout: 60_000 * days }, () => {
  it("loses nothing, doubles nothing, and ends as the keeper asked last", async () => {
    const total = { lostRequests: 0, lostAnswers: 0, doubled: 0, reboots: 0, orders: 0 };
    for (let seed = 1; seed <= days; seed += 1) {
      const day = await simulateUnreliableDay(await openTestServer(), seed);
      expect(day.written).toBeGreaterThan(100);
      for (const what of Object.keys(total) as (keyof typeof total)[]) total[what] += day[what];
    }
    // The simulation must have reached what it checks.
    for (const [what, times] of Object.entries(total)) expect(times, what).toBeGreaterThan(0);
  });

  it.each([
    ["feederForgetsTooEarly", /is lost/],
    ["serverForgetsRepeats", /stored twice|never reported|the server answered .*500/],
    ["clockUnbuilt", /placed -?\d+ ms off|is lost/], // placed so far off that it isn't in this day any more
  ] as const)("fails the checks where %s", async (plant, complaint) => {
    const server = await openTestServer();
    await expect(simulateUnreliableDay(server, 1, plant)).rejects.toThrow(complaint);
  });
});
