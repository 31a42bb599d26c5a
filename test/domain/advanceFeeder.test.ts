import { isDeepStrictEqual } from "node:util";
import fc from "fast-check";
import { describe, expect, it, vi } from "vitest";
import { advanceFeeder, nextCheckAt } from "../../server/domain/advanceFeeder.ts";
import type { Effect } from "../../server/domain/effects.ts";
import type { ReportedRefill } from "../../server/domain/facts.ts";
import { type FaultKind, faultKinds, ruleOf } from "../../server/domain/faults.ts";
import { type FeederState, newFeeder } from "../../server/domain/feeder.ts";
import {
  after as afterwards,
  days,
  hours,
  type Instant,
  instantOf,
  minutes,
  type Span,
  seconds,
} from "../../server/domain/instant.ts";
import type { FeederEvent, Readings, Report } from "../../server/domain/report.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { silenceBeginsAt } from "../../server/domain/silence/feederSilence.ts";
import { grams } from "../../server/domain/units.ts";
import { feedingRulesOf } from "../../server/flows/pure/requestedFeeding.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { runs } from "../support/runs.ts";
import { rowanSettings } from "./rowan.ts";
import { emptyReadings } from "./silence/larch.ts";
import { simulateYard } from "./simulatedYard.ts";

vi.setConfig({ testTimeout: 60_000 }); // stories of weeks, minute by minute, on a machine that may be busy

const start = instantOf("2026-11-02T00:00:00Z");
const day = 24 * 60;

/**
 * Whether JSON holds the value whole: nothing in it is undefined, NaN, infinite, minus zero or an object with a class.
 * States are never changed in place, so what was looked through once needn't be again.
 */
function isPlainJson(value: unknown): boolean {
  if (typeof value === "number") return Number.isFinite(value) && !Object.is(value, -0);
  if (typeof value !== "object") return typeof value === "string" || typeof value === "boolean";
  if (value === null || seenPlain.has(value)) return true;
  const plain = Array.isArray(value) ? value.every(isPlainJson) : isPlainObject(value);
  if (plain) seenPlain.add(value);
  return plain;
}
const isPlainObject = (value: object): boolean =>
  Object.getPrototypeOf(value) === Object.prototype && Object.values(value).every(isPlainJson);
const seenPlain = new WeakSet<object>();

/** How each fault is planted in a feeder that has been well for a day; it must be notified within so many minutes. */
interface Planted {
  readonly settings?: Partial<FeederSettings>;
  readonly wellFor?: number;
  readonly plant: (simulation: ReturnType<typeof simulateYard>) => void;
  readonly within: number;
}

/** It answers "done" to the order, and then states what it likes, and feeds all the same. */
const disobeys =
  (kind: "pause" | "resume", saysPaused: boolean): Planted["plant"] =>
  (simulation) => {
    simulation.order("p1", kind);
    simulation.pass(15);
    Object.assign(simulation.truth, { paused: kind === "resume", saysPaused });
  };

const feeding = feedingRulesOf(
  { ...feedingExample, deposit: feedingExample.press, rationGrams: 400 },
  { name: "Rowan" },
);

const planted: Record<Exclude<FaultKind, "reportsIrregular">, Planted> = {
  feederSilent: { plant: ({ truth }) => truth.dead.add("link"), within: 30 },
  motorNotTurning: { plant: ({ truth }) => (truth.motor = "wireOff"), within: 2 * day },
  motorStalled: { plant: ({ truth }) => (truth.motor = "stalled"), within: 2 * day },
  foodOut: { plant: ({ truth }) => (truth.hopper = 1), within: 2 * day },
  trayJammed: { plant: ({ truth }) => (truth.tray = "jammed"), within: 2 * day },
  feedBridged: { plant: ({ truth }) => (truth.tray = "bridged"), within: 2 * day },
  // Without a scale a blind chute sensor looks like a stop.
  feedStopped: {
    settings: { sensors: { ...rowanSettings.sensors, scale: false } },
    plant: ({ truth }) => truth.dead.add("chute"),
    within: 3 * day,
  },
  depositUnpaid: { plant: ({ truth }) => truth.dead.add("payer"), within: 2 * day },
  // Its first day: so many portions were never given before, and it may have a ration.
  paymentUnclear: { wellFor: 8 * 60, plant: ({ truth }) => truth.dead.add("payer"), within: 2 * day },
  feedsThoughPaused: { plant: disobeys("pause", true), within: day },
  pauseContradicted: { plant: disobeys("pause", false), within: 30 },
  staysPaused: { plant: disobeys("resume", true), within: 60 },
  pauseOverdue: {
    plant: (simulation) => {
      simulation.truth.dead.add("receiver");
      simulation.order("p1", "pause");
    },
    within: 30,
  },
  chargingInFrost: {
    settings: { battery: "lithiumIronPhosphate" },
    plant: ({ truth }) => Object.assign(truth, { air: -6, charge: 400, batteryCelsius: -5, humidity: 40 }),
    within: 60,
  },
  batteryFreezing: {
    plant: ({ truth }) => Object.assign(truth, { air: -18, batteryVolts: 11.7, batteryCelsius: -17, humidity: 40 }),
    within: 60,
  },
  foodLow: { plant: ({ truth }) => (truth.hopper = 90), within: 2 * day },
  chuteBlind: { plant: ({ truth }) => truth.dead.add("chute"), within: 3 * day },
  buttonSilent: { wellFor: 7 * day, plant: ({ truth }) => truth.dead.add("button"), within: 4 * day },
  detectorSilent: { wellFor: 7 * day, plant: ({ truth }) => truth.dead.add("detector"), within: 4 * day },
  perchSilent: { wellFor: 7 * day, plant: ({ truth }) => truth.dead.add("perch"), within: 4 * day },
  scaleSilent: { plant: ({ truth }) => truth.dead.add("scale"), within: 60 },
  sensorChattering: { plant: ({ truth }) => (truth.bounces = true), within: 30 },
  readingStuck: { wellFor: 5 * day, plant: ({ truth }) => (truth.airStuckAt = 5.1), within: 8 * 60 },
  readingImpossible: { plant: ({ truth }) => (truth.setAside = ["insideCelsius"]), within: 30 },
  countsBackwards: { plant: (simulation) => simulation.loseCounts(), within: 5 },
  iceLock: {
    plant: (simulation) => {
      Object.assign(simulation.truth, { air: 2, lid: 1, inside: 3, humidity: 97 }); // an evening of dew
      simulation.pass(90);
      Object.assign(simulation.truth, { air: -5, lid: -6, inside: -4, humidity: 70 });
    },
    within: 60,
  },
  frostInside: {
    plant: ({ truth }) => Object.assign(truth, { air: -5, lid: -8, inside: -4, humidity: 92 }),
    within: 60,
  },
  feedCaking: {
    plant: (simulation) =>
      simulation.pass(5 * day, (now) => {
        const frozen = new Date(now).getUTCHours() < 12;
        Object.assign(simulation.truth, { air: frozen ? -4 : 4, humidity: 86 });
      }),
    within: 60,
  },
  supplyWeak: { plant: ({ truth }) => (truth.sag = 0.6), within: 2 * day },
  detectorDrifting: {
    wellFor: 7 * day,
    plant: ({ truth }) => Object.assign(truth, { air: -12, humidity: 40, weakens: 0.013, takesFrom: 0.5 }),
    within: 7 * day,
  },
  reportsUnreadable: {
    plant: ({ truth, give }) => {
      truth.dead.add("link");
      give({ kind: "reportRefused", problem: { field: "boot", problem: "must be text" } });
    },
    within: 1,
  },
  bootReused: { plant: (simulation) => simulation.restartUnderSameBoot(), within: 5 },
  freeFoodMissed: { settings: { feeding }, plant: ({ truth }) => truth.dead.add("timer"), within: day },
  planNotTaken: {
    settings: { feeding },
    plant: (simulation) => {
      simulation.truth.dead.add("planTaker");
      const changed = { ...feeding, ration: grams(300) };
      simulation.give({ kind: "settingsChanged", settings: { ...simulation.state().settings, feeding: changed } });
    },
    within: 60,
  },
  troubleReported: { plant: ({ truth }) => (truth.trouble = "detector coil open"), within: 5 },
};

const isRaise = (effect: Effect, kind: FaultKind): boolean =>
  effect.kind === "alarmChanged" &&
  effect.change.fault === kind &&
  effect.change.to === "unacknowledged" &&
  effect.change.from !== "unacknowledged";

describe("a planted fault", () => {
  const kinds = Object.keys(planted) as (keyof typeof planted)[];
  it("is planted for every kind but the one of a feeder that was never regular", () => {
    expect(faultKinds.filter((kind) => !Object.hasOwn(planted, kind))).toEqual(["reportsIrregular"]);
    const simulation = simulateYard(rowanSettings, start, 12);
    simulation.pass(20);
    simulation.truth.dead.add("link");
    simulation.passUntil(() => simulation.effects().some(({ effect }) => isRaise(effect, "reportsIrregular")), 30);
    expect(simulation.state().alarms.reportsIrregular?.state).toBe("unacknowledged");
    simulation.pass(day);
    expect(simulation.notifiedFaults()).toEqual([]);
  });

  it.each(kinds)("%s is found, raised and notified by the whole step", (kind) => {
    const { settings, wellFor = day, plant, within } = planted[kind];
    const simulation = simulateYard({ ...rowanSettings, ...settings }, start, 12);
    let lossy: unknown = null; // the first state that JSON doesn't hold whole
    simulation.watch(({ state }) => {
      if (lossy === null && !isPlainJson(state)) lossy = state;
    });
    simulation.pass(wellFor + 8 * 60);
    expect(simulation.notifiedFaults()).toEqual([]);
    const plantedAt = simulation.now();
    plant(simulation);
    const raised = () => simulation.effects().some(({ effect }) => isRaise(effect, kind));
    simulation.passUntil(raised, within);
    expect(raised()).toBe(true);
    expect(lossy).toBeNull();
    expect(isDeepStrictEqual(JSON.parse(JSON.stringify(simulation.state())), simulation.state())).toBe(true);
    if (ruleOf(kind).priority === "note") {
      expect(simulation.notifiedFaults()).not.toContain(kind); // it waits for the digest
      return;
    }
    expect(simulation.notifiedFaults()).toContain(kind);
    const raise = simulation.notifications().find(({ content }) => content.fault === kind);
    expect(raise?.at).toBeGreaterThanOrEqual(afterwards(plantedAt, ruleOf(kind).onDelay));
    expect(raise?.content.title).toBe(`Rowan: ${ruleOf(kind).title}`);
    expect(raise?.content.body.length).toBeLessThanOrEqual(400);
  });
});

describe("a healthy fortnight", () => {
  const simulation = simulateYard(rowanSettings, start, 3);
  let lossy: unknown = null; // the first state that JSON doesn't hold whole
  simulation.watch(({ state }) => {
    if (lossy === null && !isPlainJson(state)) lossy = state;
  });
  let missed = 0; // portions that a healthy chute sensor didn't see
  simulation.watch((_, fact) => {
    if (fact.kind !== "reported") return;
    missed += fact.report.events.filter((event) => event.kind === "portion" && event.chuteCount === 0).length;
  });
  let grew = 0;
  simulation.pass(14 * day, (now) => {
    const minute = (now - start) / 60_000;
    const hour = (minute / 60) % 24;
    simulation.truth.air = 4 + 3 * Math.sin(((hour - 9) / 24) * 2 * Math.PI);
    if (minute === 5 * day + 17 * 60) simulation.restart();
    if (minute % (4 * day) === 4 * day - 11 * 60) simulation.refill(700); // by day, as people do
    if (minute === 6 * day + 10 * 60) simulation.order("p1", "pause", afterwards(now, hours(3)));
    if (minute === 6 * day + 12 * 60) simulation.order("r1", "resume");
    if (minute === 13 * day) grew = JSON.stringify(simulation.state()).length;
  });

  it("notifies of nothing", () => {
    expect(simulation.notifiedFaults()).toEqual([]);
  });
  it("was a real one: birds were paid, a refill was found, a pause was kept, a restart survived", () => {
    expect(simulation.effects().some(({ effect }) => effect.kind === "refillDetected")).toBe(true);
    const statuses = simulation
      .effects()
      .flatMap(({ effect }) => (effect.kind === "orderChanged" ? [effect.order.status] : []));
    expect(statuses).toEqual(["requested", "sent", "confirmed", "requested", "sent", "confirmed"]);
    expect(simulation.state().latestReadings?.readings.counts.chute).toBeGreaterThan(100);
    expect(missed).toBeGreaterThan(3);
  });
  it("is held whole by JSON after every step", () => {
    expect(lossy).toBeNull();
    expect(isDeepStrictEqual(JSON.parse(JSON.stringify(simulation.state())), simulation.state())).toBe(true);
  });
  it("leaves a state that is small and no longer grows", () => {
    const size = JSON.stringify(simulation.state()).length;
    expect(size).toBeLessThan(13_500);
    expect(size).toBeLessThan(1.1 * grew);
  });
});

describe("one cause", () => {
  it("is one alarm: a silent feeder is notified as silent and as nothing else", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(4 * day);
    simulation.truth.dead.add("link");
    simulation.pass(4 * day);
    expect(simulation.notifiedFaults()).toEqual(["feederSilent"]);
  });

  it("is one alarm: an empty hopper explains the deposits that it can't pay", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(4 * day);
    simulation.truth.hopper = 1;
    simulation.pass(2 * day);
    expect(simulation.notifiedFaults().filter((kind) => kind !== "foodLow")).toEqual(["foodOut"]);
  });

  it("is one alarm: ice that locks the tray explains the frost before it, which had only been noted", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(day);
    Object.assign(simulation.truth, { air: -5, lid: -8, inside: -4, humidity: 92 });
    simulation.pass(4 * 60);
    expect(simulation.state().alarms.frostInside?.state).toBe("unacknowledged");
    expect(simulation.notifiedFaults()).toEqual([]);
    Object.assign(simulation.truth, { air: 2, lid: 1, inside: 3, humidity: 97 }); // thaws, and is wet
    simulation.pass(90);
    Object.assign(simulation.truth, { air: -5, lid: -8, inside: -4, humidity: 92 });
    simulation.pass(60);
    expect(simulation.notifiedFaults()).toEqual(["iceLock"]);
    expect(simulation.state().alarms.frostInside?.state).toBe("suppressedByDesign");
  });

  it("stays raised through a silence, and is notified neither again nor as ended", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(3 * day + 8 * 60);
    simulation.truth.tray = "jammed";
    simulation.pass(5 * 60);
    expect(simulation.notifiedFaults()).toEqual(["trayJammed"]);
    simulation.truth.dead.add("link");
    simulation.pass(60);
    expect(simulation.state().alarms.trayJammed?.state).toBe("suppressedByDesign");
    simulation.truth.dead.delete("link");
    simulation.pass(60);
    expect(simulation.notifiedFaults()).toEqual(["trayJammed", "feederSilent"]);
    expect(simulation.state().alarms.trayJammed?.state).toBe("unacknowledged");
    // Hidden, it was taken off the screens; nobody has answered it, so it is put back there without a sound.
    const titles = simulation
      .notifications()
      .map(({ content }) => `${content.fault}${content.silent ? ", quietly" : ""}`);
    expect(titles).toEqual(["trayJammed", "feederSilent", "feederSilent, quietly", "trayJammed, quietly"]);
  });

  it("is at rest while the feeder is paused, on the record but untold", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(3 * day + 8 * 60);
    simulation.order("p1", "pause");
    simulation.pass(5);
    simulation.truth.tray = "jammed";
    simulation.truth.dead.add("button").add("detector");
    simulation.pass(3 * day);
    expect(simulation.notifiedFaults()).toEqual([]);
  });

  it("notifies while paused where it is about the cold, the store or the battery", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(3 * day);
    simulation.order("p1", "pause");
    simulation.pass(5);
    Object.assign(simulation.truth, { air: -18, batteryVolts: 11.7, batteryCelsius: -17, humidity: 40 });
    simulation.pass(60);
    expect(simulation.notifiedFaults()).toEqual(["batteryFreezing"]);
  });
});

describe("a cause that is over", () => {
  it("notifies of no old unpaid deposit after the refill: the empty hopper explained it", () => {
    const simulation = simulateYard(rowanSettings, start, 1);
    simulation.pass(2 * day + 8 * 60);
    simulation.truth.hopper = 1;
    simulation.pass(5);
    simulation.truth.dead.add("payer"); // such a feeder doesn't even try while it is empty
    simulation.pass(5 * 60);
    expect(simulation.state().alarms.depositUnpaid?.state).toBe("suppressedByDesign");
    simulation.refill(1_200);
    simulation.truth.dead.delete("payer");
    simulation.pass(60);
    expect(simulation.notifiedFaults()).toEqual(["foodOut"]);
    expect(simulation.state().alarms.depositUnpaid).toBeUndefined();
    // The next one that gets nothing is news.
    simulation.truth.dead.add("payer");
    simulation.pass(day);
    expect(simulation.notifiedFaults()).toEqual(["foodOut", "depositUnpaid"]);
  });

  it.each([1, 2, 3])(
    "is a blind chute sensor: neither its finding nor its cleaning makes a deposit unpaid (seed %i)",
    (seed) => {
      const simulation = simulateYard(rowanSettings, start, seed);
      simulation.truth.perHour = 15;
      simulation.pass(day + 8 * 60);
      simulation.truth.dead.add("chute");
      simulation.pass(day);
      // No jam first: the scale shows soon enough that food falls.
      expect(simulation.notifiedFaults().filter((kind) => kind !== "foodLow")).toEqual(["chuteBlind"]);
      simulation.truth.dead.delete("chute");
      simulation.pass(6 * 60);
      expect(simulation.notifiedFaults().filter((kind) => kind !== "foodLow")).toEqual(["chuteBlind"]);
      const ofChute = simulation.notifications().filter(({ content }) => content.fault === "chuteBlind");
      expect(ofChute.at(-1)?.content).toMatchObject({ silent: true });
      simulation.truth.tray = "jammed";
      simulation.pass(day);
      expect(simulation.notifiedFaults()).toContain("trayJammed");
    },
  );

  it("is a chute sensor that was blind for an hour or three: seen again, it proves no jam", () => {
    for (const seed of [2, 3, 4]) {
      const simulation = simulateYard(rowanSettings, start, seed);
      simulation.pass(2 * day + 8 * 60);
      simulation.truth.dead.add("chute");
      simulation.pass(3 * 60);
      const notified = simulation.notifiedFaults();
      simulation.truth.dead.delete("chute");
      simulation.pass(5 * 60);
      expect(simulation.notifiedFaults()).toEqual(notified);
    }
  });
});

describe("a scale that shows the same whatever falls", () => {
  const frozen = (settings: Partial<FeederSettings>) => {
    const simulation = simulateYard({ ...rowanSettings, ...settings }, start, 4);
    simulation.truth.perHour = 15;
    simulation.pass(day + 8 * 60);
    simulation.truth.frozen = simulation.truth.hopper;
    simulation.pass(day);
    return simulation;
  };

  it("is called silent where the chute sensor sees food fall", () => {
    expect(frozen({}).notifiedFaults()).toEqual(["scaleSilent"]);
  });

  it("at zero means an empty hopper only until the chute sensor has disproved it, and not again when it is repaired", () => {
    const simulation = simulateYard(rowanSettings, start, 1);
    simulation.pass(day + 8 * 60);
    simulation.truth.frozen = 0;
    simulation.pass(day);
    expect(simulation.notifiedFaults()).toEqual(["foodOut", "scaleSilent"]);
    expect(simulation.state().alarms.foodOut?.state).not.toBe("unacknowledged");
    simulation.truth.frozen = null;
    simulation.pass(2 * 60);
    expect(simulation.notifiedFaults()).toEqual(["foodOut", "scaleSilent"]);
    simulation.truth.hopper = 1;
    simulation.pass(60);
    expect(simulation.notifiedFaults().at(-1)).toBe("foodOut");
  });

  it("looks like a stop at first where there is no chute sensor, and the text says so, until the motor's current shows otherwise", () => {
    const simulation = frozen({ sensors: { ...rowanSettings.sensors, chute: false } });
    expect(simulation.notifiedFaults()).toEqual(["feedStopped"]);
    // What a current differs by less than its meter's step is no evidence: it takes days until many such portions tell.
    simulation.pass(3 * day);
    expect(simulation.notifiedFaults()).toEqual(["feedStopped", "scaleSilent"]);
    const [stopped] = simulation.notifications().filter(({ content }) => content.fault === "feedStopped");
    expect(stopped?.content.body).toContain("Without a chute sensor a stuck scale looks the same.");
    expect(simulation.state().alarms.scaleSilent?.finding.reason).toContain("what it does with food on the tray");
  });
});

describe("a pause that does not arrive", () => {
  it("notifies even while the feeder is silent", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(day);
    simulation.truth.dead.add("link");
    simulation.order("p1", "pause");
    simulation.pass(30);
    expect(simulation.notifiedFaults().sort()).toEqual(["feederSilent", "pauseOverdue"]);
  });

  it("is carried again after a restart that forgot it", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.truth.forgetsPause = true;
    simulation.pass(day);
    simulation.order("p1", "pause");
    simulation.pass(10);
    expect(simulation.truth.paused).toBe(true);
    simulation.restart();
    expect(simulation.truth.paused).toBe(false);
    simulation.pass(5);
    expect(simulation.truth.paused).toBe(true);
    expect(simulation.state().orders.newest?.status).toBe("confirmed");
    expect(simulation.notifiedFaults()).toEqual([]);
  });
});

describe("a backlog after an outage", () => {
  it("raises no stale alarm, though what it reports was a fault at the time", () => {
    const simulation = simulateYard(rowanSettings, start, 5);
    simulation.pass(4 * day + 7 * 60);
    simulation.truth.dead.add("link");
    simulation.truth.tray = "jammed";
    simulation.pass(4 * 60);
    simulation.truth.tray = "free"; // somebody loosened it; birds are fed again for an hour, still without a line
    simulation.pass(2 * 60);
    simulation.truth.dead.delete("link");
    simulation.pass(2 * 60);
    expect(simulation.notifiedFaults()).toEqual(["feederSilent"]);
    expect(simulation.notifications().at(-1)?.content).toMatchObject({ fault: "feederSilent", silent: true });
  });

  it.each([1, 2, 3, 4])("of half a day is notified as a silence and as nothing else (seed %i)", (seed) => {
    for (const meanwhile of ["nothing", "restart", "refill", "pause"] as const) {
      const simulation = simulateYard(rowanSettings, start, seed);
      simulation.pass(day + 6 * 60);
      simulation.truth.dead.add("link");
      simulation.pass(6 * 60);
      if (meanwhile === "restart") simulation.restart();
      if (meanwhile === "refill") simulation.refill(700);
      if (meanwhile === "pause") simulation.truth.paused = true; // by the switch on the feeder itself
      simulation.pass(6 * 60);
      simulation.truth.dead.delete("link");
      simulation.pass(18 * 60);
      expect(simulation.notifiedFaults(), meanwhile).toEqual(["feederSilent"]);
    }
  });

  it("finds a hopper empty that was emptied meanwhile, and not first a jam for a minute", () => {
    const simulation = simulateYard(rowanSettings, start, 1);
    simulation.pass(day + 6 * 60);
    simulation.truth.dead.add("link");
    simulation.truth.hopper = 30; // the rest was taken or spilt: no portion shows it
    simulation.pass(12 * 60);
    simulation.truth.dead.delete("link");
    simulation.pass(2 * 60);
    expect(simulation.notifiedFaults()).toEqual(["feederSilent", "foodOut"]);
  });

  it("counts in the hopper's level all the same", () => {
    const simulation = simulateYard(
      { ...rowanSettings, sensors: { ...rowanSettings.sensors, scale: false } },
      start,
      5,
    );
    simulation.give({ kind: "refillReported", refill: { at: start, what: { kind: "level", grams: grams(1_200) } } });
    simulation.pass(2 * day);
    simulation.truth.dead.add("link");
    simulation.pass(day);
    const level = simulation.state().hopper.estimate.level;
    simulation.restart();
    simulation.truth.dead.delete("link");
    simulation.pass(5);
    expect(simulation.state().hopper.estimate.level).toBeLessThan(level - 20);
  });
});

const reportOf = (
  readings: Partial<Readings>,
  sentUptime: number | null,
  boot = "b",
  events: FeederEvent[] = [],
): Report => ({
  boot,
  sentUptime: sentUptime === null ? null : seconds(sentUptime),
  readings: { ...emptyReadings, ...readings },
  rejectedReadings: [],
  events,
});
const at = (second: number): Instant => afterwards(start, seconds(second));
/** A feeder whose clock stands as the flow sets it: at `at(receivedAt)` boot "b" had been up for `uptime` seconds. */
const clocked = (uptime: number, receivedAt: number): FeederState => ({
  ...newFeeder(rowanSettings, start),
  clock: { boots: [{ boot: "b", receivedAt: at(receivedAt), uptime: seconds(uptime) as Span }] },
});
const report = (state: FeederState, what: Report, second: number) =>
  advanceFeeder(state, { kind: "reported", report: what }, at(second));

describe("a report's readings", () => {
  it("are the latest where they were sent now", () => {
    const { state } = report(clocked(60, 60), reportOf({ signalDbm: -60, paused: true }, 60), 60);
    expect(state.latestReadings).toMatchObject({ at: at(60), readings: { signalDbm: -60 } });
    expect(state.orders.lastStatement).toMatchObject({ paused: true, at: at(60) });
  });

  it("are no news where an earlier boot left them behind", () => {
    const before = report(clocked(60, 60), reportOf({ signalDbm: -60, paused: true }, 60), 60).state;
    const { state } = report(before, reportOf({ signalDbm: -80, paused: false }, null, "older"), 61);
    expect(state.latestReadings).toEqual(before.latestReadings);
    expect(state.orders.lastStatement).toMatchObject({ paused: true, at: at(60) });
  });

  it("are no news where a newer report overtook them on the way", () => {
    const before = report(clocked(120, 120), reportOf({ paused: true }, 120), 120).state;
    const { state } = report(before, reportOf({ paused: false }, 60), 125);
    expect(state.latestReadings?.readings.paused).toBe(true);
    expect(state.orders.lastStatement).toMatchObject({ paused: true, at: at(120) });
  });
});

describe("the feeder's message", () => {
  it("stand for an hour and are then gone, old ones from a backlog raise nothing", () => {
    const trouble = (recordedAt: Instant): FeederEvent => ({ kind: "trouble", text: "coil open", seq: 1, recordedAt });
    const fresh = report(clocked(60, 60), reportOf({}, 60, "b", [trouble(at(50))]), 60);
    expect(fresh.state.alarms.troubleReported?.state).toBe("unacknowledged");
    expect(fresh.state.alarms.troubleReported?.finding.reason).toContain("coil open");
    const old = report(clocked(9_000, 9_000), reportOf({}, 9_000, "b", [trouble(at(50))]), 9_000);
    expect(old.state.alarms.troubleReported).toBeUndefined();
  });
});

describe("a refill", () => {
  it("is taken from the keeper and from the feeder alike", () => {
    const byKeeper = advanceFeeder(
      clocked(60, 60),
      { kind: "refillReported", refill: { at: at(0), what: { kind: "filled" } } },
      at(60),
    ).state;
    const filled: FeederEvent = { kind: "refill", added: null, full: true, seq: 1, recordedAt: at(0) };
    const byFeeder = report(clocked(60, 60), reportOf({}, 60, "b", [filled]), 60).state;
    expect(byFeeder.hopper.estimate.level).toBeGreaterThan(1_000);
    expect(byFeeder.hopper.estimate.level).toBe(byKeeper.hopper.estimate.level);
  });
});

describe("a reported refill", () => {
  /** A feeder whose food froze and thawed, and whose tray is suspected. */
  const suspected = (): FeederState => {
    const state = clocked(60, 60);
    const { feed, cold } = state;
    const caking = { ...cold.caking, freezeThaw: { isFrozen: false, cycles: 7 } };
    return { ...state, feed: { ...feed, uncountedPortions: 4 }, cold: { ...cold, caking } };
  };
  const toldOf = (what: ReportedRefill["what"]) =>
    advanceFeeder(suspected(), { kind: "refillReported", refill: { at: at(0), what } }, at(60)).state;

  it("is fresh food where somebody filled it or added some, and none where they only looked how much is left", () => {
    const known = ({ cold, feed }: FeederState) => [cold.caking.freezeThaw.cycles, feed.uncountedPortions];
    expect(known(toldOf({ kind: "filled" }))).toEqual([0, 0]);
    expect(known(toldOf({ kind: "added", grams: grams(300) }))).toEqual([0, 0]);
    const looked = toldOf({ kind: "level", grams: grams(300) });
    expect(known(looked)).toEqual([7, 4]);
    expect(looked.hopper.estimate.level).toBeCloseTo(300, -1); // a word is evidence
  });

  it("means full, so much more, or nothing, by what the feeder's own button reports", () => {
    const pressed = (full: boolean, added: number | null) => {
      const event: FeederEvent = {
        ...{ kind: "refill", full, seq: 1, recordedAt: at(0) },
        added: added === null ? null : grams(added),
      };
      const before = toldOf({ kind: "level", grams: grams(300) });
      return report(before, reportOf({}, 120, "b", [event]), 120).state.hopper.estimate.level;
    };
    expect(pressed(true, null)).toBeGreaterThan(1_000);
    expect(pressed(true, 5)).toBeGreaterThan(1_000); // full means more than how much was added
    expect(pressed(false, 200)).toBeCloseTo(500, -1);
    expect(pressed(false, null)).toBeCloseTo(300, -1);
  });
});

describe("a keeper's response to an alarm", () => {
  it("is logged and moves only that alarm", () => {
    const trouble: FeederEvent = { kind: "trouble", text: "coil open", seq: 1, recordedAt: at(50) };
    const { state } = report(clocked(60, 60), reportOf({}, 60, "b", [trouble]), 60);
    const seen = advanceFeeder(
      state,
      { kind: "alarmAcknowledged", fault: "troubleReported", by: "Ada", raisedAt: null },
      at(61),
    );
    expect(seen.state.alarms.troubleReported).toMatchObject({ state: "acknowledged", acknowledgedBy: "Ada" });
    expect(seen.effects.map(({ kind }) => kind)).toEqual(["alarmChanged", "alarmEvent"]);
    const shelved = advanceFeeder(
      state,
      { kind: "alarmShelved", fault: "foodLow", until: afterwards(at(61), days(1)), by: "Ada" },
      at(61),
    );
    expect(shelved.state.alarms).toMatchObject({
      foodLow: { state: "shelved" },
      troubleReported: { state: "unacknowledged" },
    });
  });
});

describe("the next look", () => {
  it("is never before now, at most ten minutes ahead, and a day for a feeder that never spoke", () => {
    expect(nextCheckAt(newFeeder(rowanSettings, start), start)).toBe(afterwards(start, days(1)));
    const simulation = simulateYard(rowanSettings, start, 9);
    simulation.watch(({ state }) => {
      const checkAt = nextCheckAt(state, simulation.now());
      expect(checkAt).toBeGreaterThan(simulation.now());
      expect(checkAt).toBeLessThanOrEqual(afterwards(simulation.now(), minutes(10)));
    });
    simulation.pass(200);
    expect(nextCheckAt(simulation.state(), simulation.now())).toBe(
      silenceBeginsAt(simulation.state().reporting, rowanSettings),
    );
  });

  type Mishap =
    | "silence"
    | "trouble"
    | "pause"
    | "deaf"
    | "resume"
    | "frost"
    | "thaw"
    | "shelve"
    | "acknowledge"
    | "jam";
  const mishaps = fc.array(
    fc.tuple(
      fc.integer({ min: 1, max: 180 }),
      fc.constantFrom<Mishap>(
        "silence",
        "trouble",
        "pause",
        "deaf",
        "resume",
        "frost",
        "thaw",
        "shelve",
        "acknowledge",
        "jam",
      ),
    ),
    { minLength: 1, maxLength: 12, size: "max" },
  );

  const playThrough = (
    seed: number,
    what: readonly (readonly [number, Mishap])[],
    reportEvery: number,
    patrol: "each" | "due",
  ) => {
    const simulation = simulateYard(
      { ...rowanSettings, reportEvery: minutes(reportEvery) },
      afterwards(start, hours(6)),
      seed,
      patrol,
    );
    simulation.pass(60);
    let orders = 0;
    for (const [wait, mishap] of what) {
      const { truth } = simulation;
      if (mishap === "silence") truth.dead[truth.dead.has("link") ? "delete" : "add"]("link");
      else if (mishap === "trouble") truth.trouble = "coil open";
      else if (mishap === "pause") simulation.order(`o${++orders}`, "pause", afterwards(simulation.now(), minutes(45)));
      else if (mishap === "deaf") truth.dead[truth.dead.has("receiver") ? "delete" : "add"]("receiver");
      else if (mishap === "resume") simulation.order(`o${++orders}`, "resume");
      else if (mishap === "frost") Object.assign(truth, { air: -5, lid: -8, inside: -4, humidity: 92 });
      else if (mishap === "thaw") Object.assign(truth, { air: 5, lid: null, inside: null, humidity: 70 });
      else if (mishap === "jam") truth.tray = truth.tray === "jammed" ? "free" : "jammed";
      else {
        for (const kind of ["feederSilent", "pauseOverdue", "frostInside"] as const) {
          if (mishap === "acknowledge")
            simulation.give({ kind: "alarmAcknowledged", fault: kind, by: "Ada", raisedAt: null });
          else if (simulation.state().alarms[kind]) {
            simulation.give({
              kind: "alarmShelved",
              fault: kind,
              until: afterwards(simulation.now(), minutes(50)),
              by: "Ada",
            });
          }
        }
      }
      simulation.pass(wait);
    }
    simulation.pass(120);
    const dated: string[] = []; // what comes due at known moments, and all orders
    const gradual: string[] = [];
    for (const { at, effect } of simulation.effects()) {
      const minute = (at - start) / 60_000;
      if (effect.kind === "orderChanged") dated.push(`${minute} ${JSON.stringify(effect.order)}`);
      if (effect.kind !== "alarmChanged") continue;
      const { fault, from, to } = effect.change;
      (dueAtAMoment.includes(fault) ? dated : gradual).push(`${minute} ${fault} ${from}>${to}`);
    }
    return { dated, gradual, looks: simulation.looks() };
  };
  const dueAtAMoment: readonly FaultKind[] = ["feederSilent", "pauseOverdue", "troubleReported"];

  it("loses no change of alarm or order, to the minute, against looking every minute", () => {
    let changesSeen = 0;
    let looksSpared = 0;
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 10_000 }), mishaps, fc.constantFrom(1, 25), (seed, what, every) => {
        const each = playThrough(seed, what, every, "each");
        const due = playThrough(seed, what, every, "due");
        expect(due.dated).toEqual(each.dated);
        // Frost that is too long ago to count ripens between far reports: that may be seen up to ten minutes late.
        if (every === 1) expect(due.gradual).toEqual(each.gradual);
        changesSeen += each.dated.length + each.gradual.length;
        looksSpared += each.looks - due.looks;
      }),
      { numRuns: runs(16) },
    );
    expect(changesSeen).toBeGreaterThan(100);
    expect(looksSpared).toBeGreaterThan(1_000);
  });
});
