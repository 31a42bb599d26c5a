import { advanceFeeder, nextCheckAt } from "../../../server/domain/advanceFeeder.ts";
import { pendingBenchOrder } from "../../../server/domain/benchRun/advanceBench.ts";
import {
  type BenchPlan,
  type BenchRun,
  benchReportInterval,
  currentStep,
} from "../../../server/domain/benchRun/benchRun.ts";
import type { Fact } from "../../../server/domain/facts.ts";
import { type FeederState, newFeeder } from "../../../server/domain/feeder.ts";
import { after, hours, type Instant, instantOf, minutes, type Span, seconds } from "../../../server/domain/instant.ts";
import type { EventContent, FeederEvent, Readings } from "../../../server/domain/report.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, grams, volts } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { rowanSettings } from "../rowan.ts";
import { emptyReadings } from "../silence/larch.ts";

/** What is wrong with the feeder on the bench; left out: nothing. */
export interface Planted {
  readonly emptyEvery?: number;
  readonly heldEvery?: number;
  readonly isDetectorDeaf?: boolean;
  readonly falseHitEvery?: Span; // in the soak
  readonly sagsTo?: number; // volts, while the motor runs
  readonly gap?: Span; // in the soak, without reports
  readonly restartsInSoak?: boolean;
  readonly paysAfter?: Span;
  readonly breaksPromises?: boolean;
  readonly refuses?: string;
  readonly scaleFactor?: number;
  readonly scaleNoise?: number;
  readonly countsCapsTwice?: boolean;
  readonly knowsNoMotorTime?: boolean;
  readonly settings?: Partial<FeederSettings>;
}

export const benchPlan: BenchPlan = {
  quiet: minutes(2),
  portions: 60,
  caps: 30,
  presses: 30,
  knownMass: grams(100),
  soak: hours(8),
};

const start = instantOf("2026-09-05T08:00:00Z");

/**
 * A feeder on the bench with a keeper beside it who does what each step asks, both in virtual time: 2 g a portion, a load cell, all sensors.
 * The state changes only by the domain's own step.
 */
export class BenchFeeder {
  state: FeederState;
  now: Instant = start;
  readonly #planted: Planted;
  readonly #random = seededRandom(11);
  #events: FeederEvent[] = [];
  #boot = 1;
  #bootedAt: Instant = start;
  #seq = 0;
  #hopper = 900;
  #onHopper = 0;
  #given = 0;
  #caps = 0;
  #presses = 0;
  #inStep: Instant = start;
  #step: string | null = null;
  #gapLeft: Span;
  #falseHitAt: Instant | null = null;

  constructor(planted: Planted = {}) {
    this.#planted = planted;
    this.#gapLeft = planted.gap ?? (0 as Span);
    this.state = newFeeder({ ...rowanSettings, ...planted.settings }, start);
    this.pass(minutes(3));
  }

  get run(): BenchRun {
    const run = this.state.bench?.current ?? this.state.bench?.past[0];
    if (run === undefined) throw new Error("expected a bench run");
    return run;
  }

  apply(fact: Fact): void {
    this.state = advanceFeeder(this.state, fact, this.now).state;
  }

  begin(plan: BenchPlan = benchPlan, run = "run-00001"): void {
    this.apply({ kind: "benchAct", act: { kind: "start", run, plan }, by: "Ada" });
  }

  /** Until the run is over. @param until ends before, at this step */
  finish(until: string | null = null): BenchRun {
    for (let turn = 0; turn < 20_000 && this.state.bench?.current != null; turn += 1) {
      if (until !== null && currentStep(this.run)?.kind === until) break;
      this.turn();
    }
    return this.run;
  }

  pass(span: Span): void {
    const end = after(this.now, span);
    while (this.now < end) this.turn();
  }

  /** A report, and what happened since the last one. */
  turn(): void {
    this.now = after(this.now, benchReportInterval(this.state.bench) ?? this.state.settings.reportEvery);
    const step = this.state.bench?.current == null ? null : currentStep(this.state.bench.current);
    if (step !== null && step.kind !== this.#step) this.#inStep = this.now;
    this.#step = step?.kind ?? null;
    if (step !== null) this.#act(step.kind);
    if (this.#isCut(step?.kind ?? null)) this.apply({ kind: "minutePassed" });
    else this.#report();
  }

  event(content: EventContent, at: Instant = this.now): number {
    this.#seq += 1;
    this.#events.push({ ...content, seq: this.#seq, recordedAt: at } as FeederEvent);
    return this.#seq;
  }

  restart(): void {
    this.#boot += 1;
    this.#bootedAt = this.now;
    this.#seq = 0;
  }

  #isCut(step: string | null): boolean {
    if (step !== "soak" || this.#gapLeft <= 0) return false;
    this.#gapLeft = (this.#gapLeft - this.state.settings.reportEvery) as Span;
    return true;
  }

  #act(step: string): void {
    const { run } = this;
    const since = this.now - this.#inStep;
    if (step === "portions") this.#portions();
    if (step === "weigh") this.#next("weigh", { total: grams(2 * this.#given), empty: null });
    if (step === "caps") this.#caps < run.plan.caps ? this.#cap() : this.#next("caps");
    if (step === "presses") this.#presses < run.plan.presses ? this.#press() : this.#next("presses");
    if (step === "knownMass") {
      if (since >= seconds(10)) this.#onHopper = 100;
      if (since >= seconds(25)) this.#next("knownMass");
    } else this.#onHopper = 0;
    if (step === "soak") this.#soak(since);
  }

  #next(step: "weigh" | "caps" | "presses" | "knownMass", weighed?: { total: ReturnType<typeof grams>; empty: null }) {
    const act = { kind: "next" as const, run: this.run.id, step };
    this.apply({ kind: "benchAct", act: weighed === undefined ? act : { ...act, weighed }, by: "Ada" });
  }

  #portions(): void {
    const order = pendingBenchOrder(this.state.bench, this.now);
    if (order === null) return;
    const { refuses, emptyEvery, heldEvery } = this.#planted;
    if (refuses !== undefined) {
      this.event({ kind: "order", order: order.id, outcome: "refused", problem: refuses });
      return;
    }
    if (this.#given >= order.portions) {
      this.event({ kind: "order", order: order.id, outcome: "done", problem: null });
      return;
    }
    this.#given += 1;
    const isEvery = (every: number | undefined) => every !== undefined && this.#given % every === 0;
    this.#portion("bench", null, { isEmpty: isEvery(emptyEvery), isHeld: isEvery(heldEvery) });
  }

  #portion(
    cause: "bench" | "press" | "deposit",
    paysFor: number | null,
    { isEmpty = false, isHeld = false, at = this.now } = {},
  ): void {
    const { sagsTo, knowsNoMotorTime } = this.#planted;
    const { chute } = this.state.settings.sensors;
    const mass = isEmpty || isHeld ? 0 : 2 + this.#random.normal(0, 0.2);
    this.#hopper -= mass;
    this.event(
      {
        kind: "portion",
        ...{ cause, paysFor },
        motorRan: knowsNoMotorTime ? null : seconds(isHeld ? 0.35 : 0.9),
        meanCurrent: null,
        peakCurrent: null,
        chuteCount: chute ? Math.round(mass / 0.4) : null,
        lowestSupply: volts(this.#given % 3 === 0 ? (sagsTo ?? 4.95) : 4.95),
      },
      at,
    );
  }

  #cap(): void {
    this.#caps += 1;
    if (this.#planted.isDetectorDeaf) return;
    const seq = this.event({ kind: "deposit", metal: true, signal: 0.8, chute: true, earns: true }, this.#actAt());
    if (this.#planted.countsCapsTwice)
      this.event({ kind: "deposit", metal: true, signal: 0.8, chute: true, earns: false });
    this.#pay("deposit", seq);
  }

  #press(): void {
    this.#presses += 1;
    this.#pay("press", this.event({ kind: "press", earns: true }, this.#actAt()));
  }

  /** A moment before the report that brings the act and its portion. */
  #actAt = () => after(this.now, -seconds(4) as Span);

  #pay(cause: "press" | "deposit", seq: number): void {
    if (this.#planted.breaksPromises) return;
    this.#portion(cause, seq, { at: after(this.#actAt(), this.#planted.paysAfter ?? seconds(0.1)) });
  }

  #soak(since: number): void {
    const { falseHitEvery, restartsInSoak } = this.#planted;
    if (
      falseHitEvery !== undefined &&
      (this.#falseHitAt === null || this.now >= after(this.#falseHitAt, falseHitEvery))
    ) {
      if (this.#falseHitAt !== null)
        this.event({ kind: "deposit", metal: true, signal: 0.3, chute: false, earns: false });
      this.#falseHitAt = this.now;
    }
    if (restartsInSoak && since >= hours(3) && this.#boot === 1) this.restart();
  }

  #report(): void {
    const { scaleFactor = 1, scaleNoise = 0.05 } = this.#planted;
    const { scale } = this.state.settings.sensors;
    const weight = (this.#hopper + this.#onHopper) * scaleFactor + this.#random.normal(0, scaleNoise);
    const readings: Readings = {
      ...emptyReadings,
      hopper: scale ? grams(Math.round(10 * weight) / 10) : null,
      inside: celsius(18 + Math.round(this.#random.normal(0, 1))),
      supply: volts(5.05),
      spooled: this.#events.length,
      paused: false,
    };
    const events = this.#events.splice(0);
    const boot = `b-${this.#boot}`;
    const sentUptime = (this.now - this.#bootedAt) as Span;
    const report = { boot, sentUptime, readings, rejectedReadings: [], events };
    const known = this.state.clock.boots.filter((before) => before.boot !== boot);
    this.state = {
      ...this.state,
      clock: { ...this.state.clock, boots: [...known, { boot, receivedAt: this.now, uptime: sentUptime }] as never },
    };
    this.apply({ kind: "reported", report });
  }
}

/** Every check that would be due until then is made. */
export function passTime(feeder: BenchFeeder, span: Span): void {
  const end = after(feeder.now, span);
  for (let at = nextCheckAt(feeder.state, feeder.now); at <= end; at = nextCheckAt(feeder.state, feeder.now)) {
    feeder.now = at;
    feeder.apply({ kind: "minutePassed" });
  }
  feeder.now = end;
}
