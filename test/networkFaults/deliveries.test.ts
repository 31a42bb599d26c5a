import { describe, expect, it } from "vitest";
import { simulateDeliveries } from "./deliveries.ts";
import { openOutboxTestbed } from "./outboxTestbed.ts";

/** More runs than the usual: `SIM_DELIVERIES=200 npm run test:only -- test/networkFaults/deliveries.test.ts`. */
const runs = Number(process.env.SIM_DELIVERIES ?? 2);

describe("two processes that deliver over bad connections", { timeout: 30_000 * runs }, () => {
  it("lose no notification, and deliver none twice except where nobody could know that it had come", async () => {
    const total = { notifications: 0, sent: 0, taken: 0, crashes: 0, answersLost: 0, twice: 0 };
    const statuses: Record<string, number> = {};
    for (let seed = 1; seed <= runs; seed += 1) {
      const testbed = await openOutboxTestbed();
      const result = await simulateDeliveries(testbed, seed);
      await testbed.close();
      for (const what of Object.keys(total) as (keyof typeof total)[]) total[what] += result[what];
      for (const [status, count] of Object.entries(result.statuses)) statuses[status] = (statuses[status] ?? 0) + count;
    }
    if (process.env.SIM_DELIVERIES) console.log(total, statuses);
    // The simulation must have reached what it checks.
    for (const [what, times] of Object.entries(total)) expect(times, what).toBeGreaterThan(0);
    for (const status of ["delivered", "givenUp", "replaced"]) expect(statuses[status], status).toBeGreaterThan(0);
  });

  it.each([
    ["claimsTooShort", /is sent by process \d while|sent again/, 1],
    ["claimsForgotten", /is sent by process \d while|sent again/, 1],
    ["settlesForgotten", /lost on the way|sent again|taken 2 times/, 1],
    ["retriesDropped", /nobody has it/, 1],
    ["idsChange", /several ids/, 3], // a run in which an email is taken twice
  ] as const)("fail the checks where %s", async (plant, complaint, seed) => {
    const testbed = await openOutboxTestbed();
    const result = simulateDeliveries(testbed, seed, plant);
    await expect(result).rejects.toThrow(complaint);
    await testbed.close();
  });
});
