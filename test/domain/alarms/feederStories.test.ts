import { describe, expect, it, vi } from "vitest";
import { after, days, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { AlarmEvent } from "../../../server/domain/notification/escalation.ts";
import type { FeederSettings, Placement } from "../../../server/domain/settings.ts";
import { rowanSettings } from "../rowan.ts";
import { simulateYard } from "../simulatedYard.ts";

vi.setConfig({ testTimeout: 60_000 }); // days, minute by minute, on a machine that may be busy

/** What each meaning comes to for a whole feeder, once by hand. */
const start = instantOf("2026-11-02T00:00:00Z");
const day = 24 * 60;
type Simulation = ReturnType<typeof simulateYard>;

const well = (settings: Partial<FeederSettings> = {}, seed = 5): Simulation => {
  const simulation = simulateYard({ ...rowanSettings, ...settings }, start, seed);
  simulation.truth.perHour = 20;
  simulation.pass(day + 8 * 60);
  return simulation;
};
const eventsOf = (simulation: Simulation): AlarmEvent[] =>
  simulation.effects().flatMap(({ effect }) => (effect.kind === "alarmEvent" ? [effect.event] : []));
const eventTexts = (simulation: Simulation): string[] =>
  eventsOf(simulation).map(({ kind, fault }) => `${fault} ${kind}`);
const logged = (simulation: Simulation, fault: string): string[] =>
  simulation
    .effects()
    .flatMap(({ effect }) =>
      effect.kind === "alarmChanged" && effect.change.fault === fault
        ? [effect.change.from === effect.change.to ? (effect.change.present ? "there" : "away") : effect.change.to]
        : [],
    );
const sent = (simulation: Simulation, duty: Placement) =>
  simulation.give({ kind: "settingsChanged", settings: { ...simulation.state().settings, placement: duty } });

describe("charging in frost", () => {
  const lithium = () => well({ battery: "lithiumIronPhosphate" });
  const charge = (simulation: Simulation, on: boolean) =>
    Object.assign(simulation.truth, { air: -6, charge: on ? 400 : 0, batteryCelsius: -5, humidity: 40 });

  it("waits to be seen and then to be reset, however long it is over", () => {
    const simulation = lithium();
    simulation.truth.perHour = 1; // so that its food lasts
    charge(simulation, true);
    simulation.pass(15);
    charge(simulation, false);
    simulation.pass(2 * day);
    expect(simulation.state().alarms.chargingInFrost?.state).toBe("latchedUnacknowledged");
    expect(eventTexts(simulation)).toEqual(["chargingInFrost raised"]);
    simulation.give({ kind: "alarmReset", fault: "chargingInFrost", by: "Bo" }); // nobody has seen it yet
    expect(simulation.state().alarms.chargingInFrost?.state).toBe("latchedUnacknowledged");
    simulation.give({ kind: "alarmAcknowledged", fault: "chargingInFrost", by: "Ada", raisedAt: null });
    expect(eventTexts(simulation).slice(1)).toEqual(["chargingInFrost acknowledged", "chargingInFrost returned"]);
    simulation.pass(2 * day);
    expect(simulation.state().alarms.chargingInFrost).toMatchObject({
      state: "latchedAcknowledged",
      acknowledgedBy: "Ada",
    });
    simulation.give({ kind: "alarmReset", fault: "chargingInFrost", by: "Bo" });
    expect(simulation.state().alarms.chargingInFrost).toBeUndefined();
    expect(eventTexts(simulation)).toHaveLength(3);
  });
});

describe("a weak supply", () => {
  it("that explains a motor that doesn't turn takes its priority, and is listed as its cause", () => {
    const simulation = well();
    simulation.truth.sag = 0.6;
    simulation.passUntil(() => simulation.state().alarms.supplyWeak?.state === "unacknowledged", 2 * day);
    expect(eventsOf(simulation)).toMatchObject([{ kind: "raised", fault: "supplyWeak", priority: "soon" }]);
    simulation.give({ kind: "alarmAcknowledged", fault: "supplyWeak", by: "Ada", raisedAt: null });
    simulation.truth.motor = "wireOff";
    simulation.passUntil(() => simulation.state().alarms.motorNotTurning !== undefined, day);
    expect(simulation.state().alarms.motorNotTurning).toMatchObject({ explainedBy: "supplyWeak", raised: null });
    expect(simulation.state().alarms.supplyWeak).toMatchObject({ state: "unacknowledged", priority: "urgent" });
    expect(eventTexts(simulation)).toEqual(["supplyWeak raised", "supplyWeak acknowledged", "supplyWeak worsened"]);
    const worse = eventsOf(simulation).at(-1);
    expect(worse).toMatchObject({
      priority: "urgent",
      // The motor is called still at its second portion, and the two deposits got none.
      body: expect.stringContaining("Also includes: motor not turning, deposit without a portion."),
    });
    expect(simulation.notifiedFaults()).toEqual(["supplyWeak", "supplyWeak"]);
  });

  it("suppresses no motor that doesn't turn while it is shelved", () => {
    const simulation = well();
    simulation.truth.sag = 0.6;
    simulation.passUntil(() => simulation.state().alarms.supplyWeak?.state === "unacknowledged", 2 * day);
    simulation.give({ kind: "alarmShelved", fault: "supplyWeak", until: after(simulation.now(), days(7)), by: "Ada" });
    simulation.truth.motor = "wireOff";
    simulation.passUntil(() => simulation.state().alarms.motorNotTurning !== undefined, day);
    expect(simulation.notifiedFaults()).toEqual(["supplyWeak", "motorNotTurning"]);
  });
});

describe("a sensor out of service", () => {
  it("returns only by a keeper, and its starts and ends are logged meanwhile", () => {
    const simulation = well();
    simulation.give({
      kind: "alarmTakenOutOfService",
      fault: "scaleSilent",
      reason: "The load cell is being glued.",
      by: "Bo",
    });
    simulation.truth.dead.add("scale");
    simulation.pass(60);
    simulation.truth.dead.delete("scale");
    simulation.pass(60);
    simulation.truth.dead.add("scale");
    simulation.pass(8 * day);
    expect(eventTexts(simulation).filter((one) => one.startsWith("scaleSilent"))).toEqual([]);
    expect(logged(simulation, "scaleSilent")).toEqual(["outOfService", "there", "away", "there"]);
    expect(simulation.state().alarms.scaleSilent).toMatchObject({
      outBy: "Bo",
      outReason: "The load cell is being glued.",
    });
    simulation.give({ kind: "alarmReturnedToService", fault: "scaleSilent", by: "Ada" });
    expect(simulation.notifiedFaults().at(-1)).toBe("scaleSilent"); // it has been silent for days
  });
});

describe("a feeder on the bench", () => {
  it("notifies nobody and logs everything", () => {
    const simulation = well();
    sent(simulation, "onBench");
    simulation.truth.tray = "jammed";
    simulation.truth.trouble = "coil open";
    simulation.pass(5 * 60);
    simulation.truth.dead.add("link");
    simulation.pass(day);
    expect(eventTexts(simulation)).toEqual([]);
    expect(logged(simulation, "trayJammed")).toContain("suppressedByDesign");
    expect(simulation.state().alarms.feederSilent).toMatchObject({
      reason: "The feeder is in the workshop.",
      explainedBy: null,
    });
    sent(simulation, "inGarden");
    expect(simulation.notifiedFaults()).toEqual(["feederSilent"]);
  });

  it("notifies where a pause did not arrive", () => {
    const simulation = well();
    sent(simulation, "onBench");
    simulation.truth.dead.add("receiver");
    simulation.order("p1", "pause");
    simulation.pass(30);
    expect(simulation.notifiedFaults()).toEqual(["pauseOverdue"]);
  });

  it("closes the notifications on the screens, and puts them back without a sound when the feeder is in use again", () => {
    const simulation = well();
    simulation.truth.tray = "jammed";
    simulation.passUntil(() => simulation.state().alarms.trayJammed?.state === "unacknowledged", day);
    sent(simulation, "onBench");
    sent(simulation, "inGarden");
    expect(eventTexts(simulation)).toEqual(["trayJammed raised", "trayJammed suppressed", "trayJammed raised"]);
    expect(simulation.notifiedFaults()).toEqual(["trayJammed"]);
  });
});

describe("a feeder that is put away", () => {
  it("may stop reporting, be empty and jam without an alarm, but its battery may not freeze", () => {
    const simulation = well();
    sent(simulation, "putAway");
    simulation.truth.hopper = 1;
    Object.assign(simulation.truth, { air: -18, batteryVolts: 11.7, batteryCelsius: -17, humidity: 40 });
    simulation.pass(60);
    expect(simulation.notifiedFaults()).toEqual(["batteryFreezing"]);
    simulation.truth.dead.add("link"); // somebody unplugs it: what became of the battery nobody knows
    simulation.pass(day);
    expect(simulation.notifiedFaults()).toEqual(["batteryFreezing"]);
    expect(simulation.state().alarms.batteryFreezing).toMatchObject({
      explainedBy: "feederSilent",
      raised: { acknowledged: null },
    });
  });

  it("notifies when it is charged in frost", () => {
    const simulation = well({ battery: "lithiumIronPhosphate" });
    sent(simulation, "putAway");
    Object.assign(simulation.truth, { air: -6, charge: 400, batteryCelsius: -5, humidity: 40 });
    simulation.pass(15);
    expect(simulation.notifiedFaults()).toEqual(["chargingInFrost"]);
  });
});

describe("an answer from a notification that comes late", () => {
  it("counts for the alarm that it was given to, and not for the next one", () => {
    const simulation = well();
    simulation.truth.trouble = "coil open";
    simulation.pass(3);
    const first = eventsOf(simulation).at(-1)?.at ?? null;
    simulation.pass(5 * 60); // an hour of standing, an hour of delay, and then it is over
    expect(simulation.state().alarms.troubleReported?.state).toBe("returnedUnacknowledged");
    simulation.truth.trouble = "coil open again";
    simulation.pass(3);
    simulation.give({ kind: "alarmAcknowledged", fault: "troubleReported", by: "Ada", raisedAt: first });
    expect(simulation.state().alarms.troubleReported?.state).toBe("unacknowledged");
    const second = eventsOf(simulation).at(-1)?.at ?? null;
    expect(second).not.toBe(first);
    simulation.give({ kind: "alarmAcknowledged", fault: "troubleReported", by: "Ada", raisedAt: second });
    expect(simulation.state().alarms.troubleReported).toMatchObject({ state: "acknowledged", acknowledgedBy: "Ada" });
  });
});

describe("a shelf", () => {
  it("ends by itself after seven days at most, and notifies of what is present then", () => {
    const simulation = well({ reportEvery: minutes(60) });
    simulation.truth.dead.add("scale");
    simulation.passUntil(() => simulation.state().alarms.scaleSilent?.state === "unacknowledged", 2 * day);
    const shelvedAt = simulation.now();
    simulation.give({ kind: "alarmShelved", fault: "scaleSilent", until: after(shelvedAt, days(60)), by: "Ada" });
    simulation.pass(7 * day - 1);
    expect(simulation.state().alarms.scaleSilent?.state).toBe("shelved");
    simulation.pass(1);
    expect(simulation.state().alarms.scaleSilent?.state).toBe("unacknowledged");
    expect(eventTexts(simulation).filter((one) => one.startsWith("scaleSilent"))).toEqual([
      "scaleSilent raised",
      "scaleSilent suppressed",
      "scaleSilent raised",
    ]);
  });
});
