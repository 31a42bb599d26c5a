import { describe, expect, it } from "vitest";
import { simulateDeliveries } from "./deliveries.ts";
import { openOutboxTestbed } from "./outboxTestbed.ts";

/** More runs than the usual: `SIM_DELIVERIES=200 npm run test:only -- test/sim/deliveries.test.ts`. */
const runs = Number(process.env.SIM_DELIVERIES ?? 2);

describe("two processes that deliver by bad roads", { timeout: 30_000 * runs }, () => {
  it("lose no word, and bring none twice but where nobody could know that it had come", async () => {
    const total = { words: 0, sent: 0, taken: 0, crashes: 0, answersLost: 0, twice: 0 };
    const statuses: Record<string, number> = {};
    for (let seed = 1; seed <= runs; seed += 1) {
      const room = await openOutboxTestbed();
      const played = await simulateDeliveries(room, seed);
      await room.close();
      for (const what of Object.keys(total) as (keyof typeof total)[]) total[what] += played[what];
      for (const [status, count] of Object.entries(played.statuses)) statuses[status] = (statuses[status] ?? 0) + count;
    }
    if (process.env.SIM_DELIVERIES) console.log(total, statuses);
    // The simulation must have reached what it guards.
    for (const [what, times] of Object.entries(total)) expect(times, what).toBeGreaterThan(0);
    for (const status of ["delivered", "givenUp", "replaced"]) expect(statuses[status], status).toBeGreaterThan(0);
  });

  it.each([
    ["claimsTooShort", /is sent by process \d while|sent again/, 1],
    ["claimsForgotten", /is sent by process \d while|sent again/, 1],
    ["settlesForgotten", /lost on the way|sent again|taken 2 times/, 1],
    ["retriesDropped", /nobody has it/, 1],
    ["idsChange", /several ids/, 2], // a run in which a letter is taken twice
  ] as const)("are caught in the act where %s", async (plant, complaint, seed) => {
    const room = await openOutboxTestbed();
    const played = simulateDeliveries(room, seed, plant);
    await expect(played).rejects.toThrow(complaint);
    await room.close();
  });
});
