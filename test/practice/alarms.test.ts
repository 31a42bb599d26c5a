import { describe, expect, it } from "vitest";
import type { PracticeFault } from "../../server/contract/api.ts";
import type { FaultKind } from "../../server/domain/faults.ts";
import { hours, instantOf, minutes, seconds } from "../../server/domain/instant.ts";
import { startPractice } from "../../server/practice/run.ts";
import { feederThatShows, larch, rowan } from "../../server/practice/yard.ts";
import { DomainDoor } from "./domainDoor.ts";
import { TestTime } from "./door.stub.ts";

/** A practice feeder with its past behind it, talking to the server's own contract and domain. */
async function practise(fault: PracticeFault) {
  const settings = feederThatShows(fault) === "Rowan" ? rowan : larch;
  const time = new TestTime(instantOf("2026-11-25T20:15:00Z"));
  const door = new DomainDoor(settings, time.now);
  const troubles: string[] = [];
  const practice = startPractice({
    url: "http://127.0.0.1:1",
    key: "k",
    settings,
    seed: 7,
    now: time.now,
    fetch: door.fetch,
    timers: time,
    log: { said: () => {}, trouble: (words) => troubles.push(words) },
  });
  const pass = async (count: number) => {
    for (let minute = 0; minute < count; minute++) {
      await time.pass(minutes(1));
      door.minutePasses();
    }
  };
  await pass(5);
  return { time, door, practice, pass, troubles };
}

/** How long after choosing a fault its alarm stands, and that it stands for the right reason. */
const told: { readonly [fault in PracticeFault]?: readonly [FaultKind, withinMinutes: number] } = {
  empty: ["foodOut", 2],
  jam: ["trayJammed", 2],
  stall: ["motorStalled", 2],
  wireOff: ["motorNotTurning", 2],
  silent: ["feederSilent", 3],
  deafToOrders: ["pauseOverdue", 2],
  // These have an on-delay of five to fifteen minutes of their own.
  chargingInFrost: ["chargingInFrost", 6],
  weakBattery: ["batteryFreezing", 12],
  coldNight: ["frostInside", 17],
  scaleDead: ["scaleSilent", 15],
  buttonDead: ["buttonSilent", 25],
  detectorDeaf: ["detectorSilent", 30],
  // A scale needs a few dozen portions to see that food falls after all.
  chuteBlind: ["chuteBlind", 20],
};

describe("a practice feeder before the real domain", () => {
  for (const [fault, [alarm, within]] of Object.entries(told) as [PracticeFault, [FaultKind, number]][]) {
    it(`makes "${fault}" be told as ${alarm} within ${within} minutes`, async () => {
      const { door, practice, pass } = await practise(fault);
      expect(door.standing()).toEqual([]);
      practice.fail(fault);
      if (fault === "deafToOrders") door.ask("pause-1", "pause");
      await pass(within);
      await practice.stop();
      expect(door.standing()).toContain(alarm);
    });
  }

  it("keeps quiet for half a day while it is healthy", { timeout: 30_000 }, async () => {
    const { door, practice, pass, troubles } = await practise("none");
    await pass(12 * 60);
    await practice.stop();
    expect(door.changes).toEqual([]);
    expect(troubles).toEqual([]);
    expect(door.effects.filter((effect) => effect.kind === "refillFound")).toEqual([]);
  });

  it("gives a level and a run-out to show from its past alone", async () => {
    const { door, practice } = await practise("none");
    await practice.stop();
    expect(door.state.hopper.known).toBe(true);
    expect(door.state.latest?.readings.hopper).toBeGreaterThan(500);
  });

  it("proves a pause within one report, and a resume", async () => {
    const { door, practice, time } = await practise("none");
    door.ask("pause-1", "pause");
    await time.pass(seconds(12));
    expect(door.state.orders.newest).toMatchObject({ id: "pause-1", phase: "confirmed" });
    expect(door.state.orders.feederSays).toMatchObject({ paused: true });
    await time.pass(hours(1));
    expect(practice.paused).toBe(true);
    door.ask("resume-1", "resume");
    await time.pass(seconds(12));
    expect(door.state.orders.newest).toMatchObject({ id: "resume-1", phase: "confirmed" });
    expect(practice.paused).toBe(false);
    await practice.stop();
  });
});
