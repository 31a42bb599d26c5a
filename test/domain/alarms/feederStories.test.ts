import { describe, expect, it, vi } from "vitest";
import { after, days, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { AlarmEvent } from "../../../server/domain/notification/escalation.ts";
import type { FeederSettings, Placement } from "../../../server/domain/settings.ts";
import { rowanSettings } from "../rowan.ts";
import { simulateYard } from "../simulatedYard.ts";

vi.setConfig({ testTimeout: 60_000 }); // days, minute by minute, on a machine that may be busy

/** What each meaning comes to for a whole feeder, told once by hand. */
const start = instantOf("2026-11-02T00:00:00Z");
const day = 24 * 60;
type House = ReturnType<typeof simulateYard>;

const well = (settings: Partial<FeederSettings> = {}, seed = 5): House => {
  const house = simulateYard({ ...rowanSettings, ...settings }, start, seed);
  house.truth.perHour = 20;
  house.pass(day + 8 * 60);
  return house;
};
const words = (house: House): AlarmEvent[] =>
  house.effects().flatMap(({ effect }) => (effect.kind === "alarmEvent" ? [effect.event] : []));
const heard = (house: House): string[] => words(house).map(({ kind, fault }) => `${fault} ${kind}`);
const logged = (house: House, fault: string): string[] =>
  house
    .effects()
    .flatMap(({ effect }) =>
      effect.kind === "alarmChanged" && effect.change.fault === fault
        ? [effect.change.from === effect.change.to ? (effect.change.present ? "there" : "away") : effect.change.to]
        : [],
    );
const sent = (house: House, duty: Placement) =>
  house.give({ kind: "settingsChanged", settings: { ...house.state().settings, placement: duty } });

describe("charging in frost", () => {
  const lithium = () => well({ battery: "lithiumIronPhosphate" });
  const charge = (house: House, on: boolean) =>
    Object.assign(house.truth, { air: -6, charge: on ? 400 : 0, batteryCelsius: -5, humidity: 40 });

  it("waits to be seen and then to be reset, however long it is over", () => {
    const house = lithium();
    house.truth.perHour = 1; // so that its food lasts
    charge(house, true);
    house.pass(15);
    charge(house, false);
    house.pass(2 * day);
    expect(house.state().alarms.chargingInFrost?.state).toBe("latchedUnacknowledged");
    expect(heard(house)).toEqual(["chargingInFrost raised"]);
    house.give({ kind: "alarmReset", fault: "chargingInFrost", by: "Bo" }); // nobody has seen it yet
    expect(house.state().alarms.chargingInFrost?.state).toBe("latchedUnacknowledged");
    house.give({ kind: "alarmAcknowledged", fault: "chargingInFrost", by: "Ada", raisedAt: null });
    expect(heard(house).slice(1)).toEqual(["chargingInFrost acknowledged", "chargingInFrost returned"]);
    house.pass(2 * day);
    expect(house.state().alarms.chargingInFrost).toMatchObject({ state: "latchedAcknowledged", acknowledgedBy: "Ada" });
    house.give({ kind: "alarmReset", fault: "chargingInFrost", by: "Bo" });
    expect(house.state().alarms.chargingInFrost).toBeUndefined();
    expect(heard(house)).toHaveLength(3);
  });
});

describe("a weak supply", () => {
  it("that explains a motor that doesn't turn takes its priority, and is listed as its cause", () => {
    const house = well();
    house.truth.sag = 0.6;
    house.passUntil(() => house.state().alarms.supplyWeak?.state === "unacknowledged", 2 * day);
    expect(words(house)).toMatchObject([{ kind: "raised", fault: "supplyWeak", priority: "soon" }]);
    house.give({ kind: "alarmAcknowledged", fault: "supplyWeak", by: "Ada", raisedAt: null });
    house.truth.motor = "wireOff";
    house.passUntil(() => house.state().alarms.motorNotTurning !== undefined, day);
    expect(house.state().alarms.motorNotTurning).toMatchObject({ explainedBy: "supplyWeak", raised: null });
    expect(house.state().alarms.supplyWeak).toMatchObject({ state: "unacknowledged", priority: "urgent" });
    expect(heard(house)).toEqual(["supplyWeak raised", "supplyWeak acknowledged", "supplyWeak worsened"]);
    const worse = words(house).at(-1);
    expect(worse).toMatchObject({
      priority: "urgent",
      body: expect.stringContaining("Also includes: motor not turning."),
    });
    expect(house.rangFor()).toEqual(["supplyWeak", "supplyWeak"]);
  });

  it("suppresses no motor that doesn't turn while it is shelved", () => {
    const house = well();
    house.truth.sag = 0.6;
    house.passUntil(() => house.state().alarms.supplyWeak?.state === "unacknowledged", 2 * day);
    house.give({ kind: "alarmShelved", fault: "supplyWeak", until: after(house.now(), days(7)), by: "Ada" });
    house.truth.motor = "wireOff";
    house.passUntil(() => house.state().alarms.motorNotTurning !== undefined, day);
    expect(house.rangFor()).toEqual(["supplyWeak", "motorNotTurning"]);
  });
});

describe("a sensor out of service", () => {
  it("returns only by a keeper, and its starts and ends are logged meanwhile", () => {
    const house = well();
    house.give({
      kind: "alarmTakenOutOfService",
      fault: "scaleSilent",
      reason: "The load cell is being glued.",
      by: "Bo",
    });
    house.truth.dead.add("scale");
    house.pass(60);
    house.truth.dead.delete("scale");
    house.pass(60);
    house.truth.dead.add("scale");
    house.pass(8 * day);
    expect(heard(house).filter((one) => one.startsWith("scaleSilent"))).toEqual([]);
    expect(logged(house, "scaleSilent")).toEqual(["outOfService", "there", "away", "there"]);
    expect(house.state().alarms.scaleSilent).toMatchObject({ outBy: "Bo", outReason: "The load cell is being glued." });
    house.give({ kind: "alarmReturnedToService", fault: "scaleSilent", by: "Ada" });
    expect(house.rangFor().at(-1)).toBe("scaleSilent"); // it has been silent for days
  });
});

describe("a feeder on the bench", () => {
  it("notifies nobody and logs everything", () => {
    const house = well();
    sent(house, "onBench");
    house.truth.tray = "jammed";
    house.truth.words = "coil open";
    house.pass(5 * 60);
    house.truth.dead.add("link");
    house.pass(day);
    expect(heard(house)).toEqual([]);
    expect(logged(house, "trayJammed")).toContain("suppressedByDesign");
    expect(house.state().alarms.feederSilent).toMatchObject({
      reason: "The feeder is in the workshop.",
      explainedBy: null,
    });
    sent(house, "inGarden");
    expect(house.rangFor()).toEqual(["feederSilent"]);
  });

  it("notifies where a pause did not arrive", () => {
    const house = well();
    sent(house, "onBench");
    house.truth.dead.add("ears");
    house.order("p1", "pause");
    house.pass(30);
    expect(house.rangFor()).toEqual(["pauseOverdue"]);
  });

  it("closes the notifications on the screens, and puts them back without a sound when the feeder is in use again", () => {
    const house = well();
    house.truth.tray = "jammed";
    house.passUntil(() => house.state().alarms.trayJammed?.state === "unacknowledged", day);
    sent(house, "onBench");
    sent(house, "inGarden");
    expect(heard(house)).toEqual(["trayJammed raised", "trayJammed suppressed", "trayJammed raised"]);
    expect(house.rangFor()).toEqual(["trayJammed"]);
  });
});

describe("a feeder that is put away", () => {
  it("may stop reporting, be empty and jam without an alarm, but its battery may not freeze", () => {
    const house = well();
    sent(house, "putAway");
    house.truth.hopper = 1;
    Object.assign(house.truth, { air: -18, batteryVolts: 11.7, batteryCelsius: -17, humidity: 40 });
    house.pass(60);
    expect(house.rangFor()).toEqual(["batteryFreezing"]);
    house.truth.dead.add("link"); // somebody unplugs it: what became of the battery nobody knows
    house.pass(day);
    expect(house.rangFor()).toEqual(["batteryFreezing"]);
    expect(house.state().alarms.batteryFreezing).toMatchObject({
      explainedBy: "feederSilent",
      raised: { acknowledged: null },
    });
  });

  it("notifies when it is charged in frost", () => {
    const house = well({ battery: "lithiumIronPhosphate" });
    sent(house, "putAway");
    Object.assign(house.truth, { air: -6, charge: 400, batteryCelsius: -5, humidity: 40 });
    house.pass(15);
    expect(house.rangFor()).toEqual(["chargingInFrost"]);
  });
});

describe("an answer from a notification that comes late", () => {
  it("counts for the alarm that it was given to, and not for the next one", () => {
    const house = well();
    house.truth.words = "coil open";
    house.pass(3);
    const first = words(house).at(-1)?.at ?? null;
    house.pass(5 * 60); // an hour of standing, an hour of delay, and then it is over
    expect(house.state().alarms.troubleReported?.state).toBe("returnedUnacknowledged");
    house.truth.words = "coil open again";
    house.pass(3);
    house.give({ kind: "alarmAcknowledged", fault: "troubleReported", by: "Ada", raisedAt: first });
    expect(house.state().alarms.troubleReported?.state).toBe("unacknowledged");
    const second = words(house).at(-1)?.at ?? null;
    expect(second).not.toBe(first);
    house.give({ kind: "alarmAcknowledged", fault: "troubleReported", by: "Ada", raisedAt: second });
    expect(house.state().alarms.troubleReported).toMatchObject({ state: "acknowledged", acknowledgedBy: "Ada" });
  });
});

describe("a shelf", () => {
  it("ends by itself after seven days at most, and notifies of what is present then", () => {
    const house = well({ reportEvery: minutes(60) });
    house.truth.dead.add("scale");
    house.passUntil(() => house.state().alarms.scaleSilent?.state === "unacknowledged", 2 * day);
    const shelvedAt = house.now();
    house.give({ kind: "alarmShelved", fault: "scaleSilent", until: after(shelvedAt, days(60)), by: "Ada" });
    house.pass(7 * day - 1);
    expect(house.state().alarms.scaleSilent?.state).toBe("shelved");
    house.pass(1);
    expect(house.state().alarms.scaleSilent?.state).toBe("unacknowledged");
    expect(heard(house).filter((one) => one.startsWith("scaleSilent"))).toEqual([
      "scaleSilent raised",
      "scaleSilent suppressed",
      "scaleSilent raised",
    ]);
  });
});
