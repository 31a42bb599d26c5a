import { describe, expect, it } from "vitest";
import { allClearObstacle } from "../../../server/domain/allClear.ts";
import { pendingBenchOrder } from "../../../server/domain/benchRun/advanceBench.ts";
import { benchReportInterval, currentStep, isBenchRunning } from "../../../server/domain/benchRun/benchRun.ts";
import type { BenchFigure } from "../../../server/domain/benchRun/figure.ts";
import { benchPortionGrams } from "../../../server/domain/benchRun/portionFigures.ts";
import { benchFigures, benchVerdict } from "../../../server/domain/benchRun/verdict.ts";
import { feederSummary } from "../../../server/domain/feederSummary.ts";
import { hours, minutes, type Span, seconds } from "../../../server/domain/instant.ts";
import { newOrder } from "../../../server/flows/pure/newOrder.ts";
import { rowanSettings } from "../rowan.ts";
import { BenchFeeder, benchPlan, type Planted, passTime } from "./benchFeeder.ts";

function tried(planted: Planted = {}, plan = benchPlan) {
  const feeder = new BenchFeeder(planted);
  feeder.begin(plan);
  const run = feeder.finish();
  const figures = benchFigures(run, feeder.now);
  const of = (name: BenchFigure["name"]) => figures.find((figure) => figure.name === name);
  const wrong = figures.filter(({ status }) => status === "notMet").map(({ name }) => name);
  return { feeder, run, figures, of, wrong, verdict: benchVerdict(figures) };
}

describe("a bench run of a healthy feeder", () => {
  it("goes through all its steps in order, and is ready", () => {
    const { run, figures, verdict, of } = tried();
    expect(run.ended?.by).toBe("done");
    expect(run.steps.map(({ kind }) => kind)).toEqual([
      ...["quiet", "portions", "weigh", "caps", "presses", "knownMass", "soak", "settle"],
    ]);
    expect(figures.filter(({ status }) => status !== "met" && status !== "noted")).toEqual([]);
    expect(verdict).toBe("ready");
    expect(benchPortionGrams(run)).toBeCloseTo(2, 1);
    expect(of("empty")?.value).toBe("0 of 60; may be as many as 5 %");
    expect(of("spread")?.value).toMatch(/^± 0\.[12]\d? g/);
    expect(of("pay")?.value).toContain("95 % within 0.1 s");
    expect(of("restarts")?.value).toBe("none");
    expect(of("temperature")?.value).toMatch(/to .* °C; colder and warmer is not known$/);
  });

  it("has the mean and the limits of its portions from the load cell where nobody weighed them", () => {
    const feeder = new BenchFeeder();
    feeder.begin();
    const run = { ...feeder.finish(), weighed: { total: null, empty: null } };
    const figure = benchFigures(run, feeder.now).find(({ name }) => name === "portion");
    const [mean, low, high] = (figure?.value.match(/[\d.]+(?= g| to)/g) ?? []).map(Number);
    expect(mean).toBeCloseTo(2, 1);
    // Sixty portions with a deviation of 0.2 g: t(59) · 0.2 / √60 = 0.05 g to each side.
    expect((high as number) - (low as number)).toBeGreaterThan(0.08);
    expect((high as number) - (low as number)).toBeLessThan(0.16);
  });
});

describe("a fault on the bench", () => {
  it.each<[string, Planted, readonly BenchFigure["name"][]]>([
    ["an empty portion in ten", { emptyEvery: 10 }, ["empty"]],
    ["a motor that is held now and then", { heldEvery: 12 }, ["empty", "held"]],
    ["a deaf detector", { isDetectorDeaf: true }, ["caps"]],
    ["a detector that counts a cap twice", { countsCapsTwice: true }, ["caps"]],
    ["a detector that hits without a cap", { falseHitEvery: hours(1.5) }, ["falseHits"]],
    ["a sagging supply", { sagsTo: 4.2 }, ["supply"]],
    ["a gap of reports", { gap: minutes(40) }, ["heartbeats"]],
    ["a feeder that never comes back from the soak", { gap: hours(9) }, ["heartbeats"]],
    ["a restart", { restartsInSoak: true }, ["restarts"]],
    ["food that comes late", { paysAfter: seconds(5) }, ["pay"]],
    ["promises that are not kept", { breaksPromises: true }, ["pay"]],
    ["a load cell that is set up wrongly", { scaleFactor: 1.2 }, ["knownMass"]],
    ["a feeder that doesn't know the order", { refuses: "This feeder knows no order 'bench'." }, ["motorRuns"]],
  ])("is found and named: %s", (_, planted, names) => {
    const { wrong, verdict, figures } = tried(planted);
    expect(verdict).toBe("notReady");
    for (const name of names) expect(wrong).toContain(name);
    // Nothing else is blamed, but what follows from the same cause.
    expect(wrong.filter((name) => !names.includes(name) && name !== "spread")).toEqual([]);
    for (const { status, reason } of figures) if (status === "notMet") expect(reason?.length).toBeGreaterThan(5);
  });
});

describe("what is shown is never better than what is known", () => {
  it.each<[string, Planted, Partial<typeof benchPlan>, BenchFigure["name"]]>([
    ["few portions", {}, { portions: 20 }, "empty"],
    ["few caps", {}, { caps: 5 }, "caps"],
    ["no presses", {}, { presses: 0 }, "presses"],
    ["no soak", {}, { soak: 0 as Span }, "soak"],
    ["a short soak", {}, { soak: hours(2) }, "falseHits"],
    ["no portions", {}, { portions: 0 }, "motorRuns"],
    ["a motor whose time isn't reported", { knowsNoMotorTime: true }, {}, "held"],
  ])("with %s it is not known whether the feeder is ready", (_, planted, change, name) => {
    const { verdict, of } = tried(planted, { ...benchPlan, ...change });
    expect(of(name)?.status).toBe("notKnown");
    expect(of(name)?.reason).not.toBeNull();
    expect(verdict).toBe("notKnown");
  });

  it("does not count empty portions without a sensor and without the keeper", () => {
    const sensors = { ...rowanSettings.sensors, chute: false, scale: false };
    const { of, verdict } = tried({ settings: { sensors } });
    expect(of("empty")?.status).toBe("notKnown");
    expect(verdict).toBe("notKnown");
  });

  it("counts them by a quiet load cell where there is no chute sensor, and not by a noisy one", () => {
    const sensors = { ...rowanSettings.sensors, chute: false };
    expect(tried({ settings: { sensors }, emptyEvery: 10 }).of("empty")?.value).toMatch(/^6 of 60/);
    expect(tried({ settings: { sensors }, scaleNoise: 1.5 }).of("empty")?.status).toBe("notKnown");
  });

  it("leaves the spread open where the load cell's own noise hides it", () => {
    const { of, verdict } = tried({ scaleNoise: 1.5 });
    expect(of("spread")).toMatchObject({ status: "noted" });
    expect(of("spread")?.value).toContain("own noise");
    expect(verdict).toBe("ready"); // the keeper's scale weighed them
  });

  it("says nothing of sensors that aren't fitted", () => {
    const sensors = { ...rowanSettings.sensors, detector: false };
    const { of, verdict, run } = tried({ settings: { sensors } });
    expect(run.steps.some(({ kind }) => kind === "caps")).toBe(false);
    expect(of("caps")?.status).toBe("notFitted");
    expect(verdict).toBe("ready");
  });

  it("is at most not known where the keeper stopped it", () => {
    const feeder = new BenchFeeder();
    feeder.begin();
    feeder.finish("caps");
    feeder.turn();
    feeder.apply({ kind: "benchAct", act: { kind: "stop", run: "run-00001" }, by: "Ada" });
    expect(feeder.run.ended?.by).toBe("keeper");
    const figures = benchFigures(feeder.run, feeder.now);
    expect(figures.find(({ name }) => name === "caps")).toMatchObject({ status: "notKnown" });
    expect(benchVerdict(figures)).toBe("notKnown");
  });
});

describe("the course of a bench run", () => {
  it("ends with a pause, which goes to the feeder first, and then tells it to give no more portions", () => {
    const feeder = new BenchFeeder();
    feeder.begin();
    feeder.finish("portions");
    feeder.turn();
    expect(pendingBenchOrder(feeder.state.bench, feeder.now)).toEqual({ id: "run-00001", portions: 60 });
    const order = newOrder({ id: "pause-0001", kind: "pause", until: null, by: "Bo" }, feeder.now);
    feeder.apply({ kind: "orderRequested", order });
    expect(feeder.run.ended?.by).toBe("pause");
    expect(pendingBenchOrder(feeder.state.bench, feeder.now)).toEqual({ id: "run-00001.stop", portions: 0 });
    feeder.event({ kind: "order", order: "run-00001.stop", outcome: "done", problem: null });
    feeder.turn();
    expect(pendingBenchOrder(feeder.state.bench, feeder.now)).toBeNull();
    // The same pause once more, as a phone repeats it, ends no later run.
    feeder.begin(benchPlan, "run-00002");
    feeder.apply({ kind: "orderRequested", order });
    expect(isBenchRunning(feeder.state.bench)).toBe(true);
  });

  it("ends where nobody goes on, so that alarms ring again", () => {
    const feeder = new BenchFeeder();
    feeder.begin();
    feeder.finish("caps");
    passTime(feeder, hours(3));
    expect(feeder.run.ended?.by).toBe("nobody");
    expect(isBenchRunning(feeder.state.bench)).toBe(false);
  });

  it("changes nothing for a repeated start, a step that is not the present one, or another run", () => {
    const feeder = new BenchFeeder();
    feeder.begin();
    const { bench } = feeder.state;
    feeder.begin();
    feeder.begin(benchPlan, "run-00002");
    feeder.apply({ kind: "benchAct", act: { kind: "next", run: "run-00001", step: "caps" }, by: "Ada" });
    feeder.apply({ kind: "benchAct", act: { kind: "stop", run: "run-00009" }, by: "Ada" });
    expect(feeder.state.bench).toEqual(bench);
  });

  it("asks for frequent reports while the keeper stands beside it, and for the usual ones in the soak", () => {
    const feeder = new BenchFeeder();
    expect(benchReportInterval(feeder.state.bench)).toBeNull();
    feeder.begin();
    expect(benchReportInterval(feeder.state.bench)).toBe(seconds(5));
    feeder.finish("soak");
    expect(currentStep(feeder.run)?.kind).toBe("soak");
    expect(benchReportInterval(feeder.state.bench)).toBeNull();
  });

  it("goes on from its state as JSON, as after a kill", () => {
    const feeder = new BenchFeeder();
    feeder.begin();
    feeder.finish("presses");
    const stored = JSON.stringify(feeder.state);
    feeder.state = JSON.parse(stored);
    expect(JSON.stringify(feeder.state)).toBe(stored);
    expect(benchVerdict(benchFigures(feeder.finish(), feeder.now))).toBe("ready");
  });

  it("keeps the last four runs, and stays small", () => {
    const feeder = new BenchFeeder();
    for (let count = 1; count <= 6; count += 1) {
      feeder.begin({ ...benchPlan, soak: 0 as Span }, `run-0000${count}`);
      feeder.apply({ kind: "benchAct", act: { kind: "stop", run: `run-0000${count}` }, by: "Ada" });
    }
    expect(feeder.state.bench?.past.map(({ id }) => id)).toEqual([6, 5, 4, 3].map((count) => `run-0000${count}`));
    const { run } = tried();
    expect(JSON.stringify(run).length).toBeLessThan(24_000);
  });
});

describe("what happens on the bench", () => {
  it("raises no alarm and is not learnt of the birds: caps, presses and portions of the keeper", () => {
    const before = new BenchFeeder();
    const { feeder } = tried({ breaksPromises: true });
    const ringing = Object.entries(feeder.state.alarms).filter(([, alarm]) => alarm?.state === "unacknowledged");
    expect(ringing).toEqual([]);
    expect(feeder.state.feed.payments.owed).toEqual([]);
    expect(feeder.state.feed.payments.unpaidCount).toBe(0);
    for (const sensor of ["button", "detector", "perch"] as const) {
      expect(feeder.state.sensors[sensor].lastCountAt).toBe(before.state.sensors[sensor].lastCountAt);
      expect(feeder.state.sensors[sensor].countedSince).toBeGreaterThanOrEqual(0);
    }
  });

  it("raises no alarm for a feeder that fails on the bench, but in its verdict", () => {
    const feeder = new BenchFeeder({ emptyEvery: 1 });
    feeder.begin();
    feeder.finish("weigh");
    const states = Object.values(feeder.state.alarms).map((alarm) => alarm?.state);
    expect(states).toContain("suppressedByDesign");
    expect(states).not.toContain("unacknowledged");
  });

  it("is said of the feeder wherever it is shown, and never that all is well", () => {
    const feeder = new BenchFeeder();
    feeder.begin();
    expect(feederSummary(feeder.state, feeder.now)).toBe(
      "Bench run under way: alarms about food and sensors are suppressed.",
    );
    expect(allClearObstacle(feeder.state, feeder.now)).toBe("inGarden");
    feeder.apply({ kind: "benchAct", act: { kind: "stop", run: "run-00001" }, by: "Ada" });
    expect(feederSummary(feeder.state, feeder.now)).not.toContain("Bench run");
  });

  it("does take food from the hopper", () => {
    const { feeder } = tried();
    expect(feeder.state.hopper.estimate.level).toBeLessThan(800);
  });

  it("still raises an alarm for a feeder that falls silent in the soak", () => {
    const feeder = new BenchFeeder({ gap: hours(7) });
    feeder.pass(hours(2)); // so that its silence is one
    feeder.begin();
    feeder.finish("soak");
    feeder.pass(hours(2));
    expect(feeder.state.alarms.feederSilent?.state).toBe("unacknowledged");
  });
});
