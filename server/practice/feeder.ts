import type { z } from "zod";
import { type Answer, eventsPerReportMax, type reportSchema } from "../contract/report.ts";
import { after, type Instant, instantOf, type Span } from "../domain/instant.ts";
import { type NewSpoolEvent, Spool, type SpoolEntry } from "./model/spool.ts";
import { applyOrders, endExpiredPause, type OrderState, resumeAt } from "./orderState.ts";
import {
  afterRestart,
  countPortion,
  dueFreeFood,
  type EarningKind,
  earnPortion,
  nextFreeFoodAt,
  type PlanMemory,
  takePlan,
} from "./planFollower.ts";
import { type PortionResult, portionRun, type SensorReadings } from "./world.ts";

/**
 * A feeder's own program, as a real one should work: it records and numbers every event, reports it until the server confirms
 * that it is stored, pays for presses and deposits, follows the keeper's plan, and carries out orders. It has no wall clock, only its
 * uptime; the caller passes in the time and the hardware, and sends the reports.
 */
export class Feeder {
  readonly boot: string;
  readonly #hardware: Hardware;
  readonly #bootedAt: Instant;
  readonly #spool: Spool;
  readonly #counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  #seq = 0;
  #motor: RunningPortion | null = null;
  #pending: PendingPortion[] = [];
  #orderState: OrderState;
  #plan: PlanMemory | null; // without one each act is paid, and the scene says when food is free
  #airCelsius: number | null = null; // as last read for a report
  #hopperGrams: number | null = null; // as weighed in quiet since the last portion
  /** Server time minus the feeder's time; null until the server has answered in this boot: the feeder has no clock of its own. */
  #serverAhead: Span | null = null;

  constructor(hardware: Hardware, memory: FeederMemory, boot: string, bootedAt: Instant) {
    this.#hardware = hardware;
    this.boot = boot;
    this.#bootedAt = bootedAt;
    this.#spool = new Spool(memory.spool);
    this.#orderState = memory.orderState;
    this.#plan = memory.plan == null ? null : afterRestart(memory.plan);
  }

  // --- sensor events --------- -----------------------------------------------------------------------------------------

  pressPerch(at: Instant): void {
    if (!this.#hardware.fitted.perch) return;
    this.#counts.perch++;
    this.#record({ kind: "visit" }, at);
  }

  pressButton(at: Instant): void {
    this.#counts.button++;
    this.#recordAct("press", { kind: "press" }, at);
  }

  detectCap(signal: number, at: Instant): void {
    this.#counts.detector++;
    const deposit = { kind: "deposit", metal: true, signal: Math.round(signal * 100) / 100, chute: true } as const;
    this.#recordAct("deposit", deposit, at);
  }

  /** Without a keeper's plan. While paused it is left out, not put off: a resume must not feed a backlog. */
  giveFreeFood(at: Instant): void {
    if (this.#plan === null) this.#addPending({ cause: "timer", paysFor: null }, at);
  }

  moveLid(open: boolean, at: Instant): void {
    this.#record({ kind: "lid", open }, at);
  }

  /** The keeper presses "filled" inside the lid. */
  reportRefill(grams: number, at: Instant): void {
    this.#record({ kind: "refill", grams, full: true }, at);
  }

  // --- time passing ----------------------------------------------------------------------------------------------------

  /** When `tick` has something to do; null while only the sensors can wake it. */
  dueAt(): Instant | null {
    const times = [this.#motor?.endsAt, resumeAt(this.#orderState, this.#serverAhead), this.#freeFoodAt()];
    const due = times.filter((time) => time != null);
    return due.length === 0 ? null : (Math.min(...due) as Instant);
  }

  tick(at: Instant): void {
    if (this.#motor && at >= this.#motor.endsAt) this.#stopMotor(this.#motor.endsAt);
    this.#orderState = endExpiredPause(this.#orderState, this.#serverTime(at));
    this.#takeFreeFood(at);
    this.#weighInQuiet();
    this.#startNext(at);
  }

  /** Of the plan that it follows; null where it has none. */
  get planVersion(): number | null {
    return this.#plan?.plan.version ?? null;
  }

  get isPaused(): boolean {
    return this.#orderState.pausedBy !== null;
  }

  get isMotorOn(): boolean {
    return this.#motor !== null;
  }

  get pendingPortions(): number {
    return this.#pending.length + (this.#motor ? 1 : 0);
  }

  /** Nothing moves and no bird is on it: the moment to weigh, and so to report. */
  get isQuiet(): boolean {
    return !this.#motor && !(this.#hardware.fitted.perch && this.#hardware.isPerched());
  }

  // --- reports ---------------------------------------------------------------------------------------------------------

  /** The report that it would send now. A report is of one boot: events of an earlier boot go first, and have no uptime. */
  report(at: Instant, most = eventsPerReportMax): ReportInput {
    const dropped = this.#spool.takeDropped();
    if (dropped > 0)
      this.#record({ kind: "trouble", words: `The spool was full: ${dropped} old events are lost.` }, at);
    this.#weighInQuiet();
    const oldest = this.#spool.oldest(most);
    if (oldest && oldest.boot !== this.boot)
      return { boot: oldest.boot, sentUptimeMs: null, events: [...oldest.events] };
    const readings = this.#hardware.read(at);
    this.#airCelsius = readings.airCelsius;
    return {
      boot: this.boot,
      sentUptimeMs: this.#uptime(at),
      readings: {
        ...(this.#hopperGrams === null ? {} : { hopperGrams: this.#hopperGrams }),
        ...readings,
        spooled: this.#spool.length,
        counts: this.#fittedCounts(),
        paused: this.isPaused,
        ...(this.planVersion === null ? {} : { planVersion: this.planVersion }),
      },
      events: oldest ? [...oldest.events] : [],
    };
  }

  /** The server has answered a report of `boot`: stored events leave the spool, and orders are carried out at once. */
  handleAnswer(boot: string, answer: Answer, at: Instant): void {
    if (answer.storedThrough !== null) this.#spool.forget(boot, answer.storedThrough);
    this.#serverAhead = (instantOf(answer.serverTime) - at) as Span;
    if (answer.plan === null) this.#plan = null;
    else if (answer.plan !== undefined && answer.plan.version !== this.planVersion)
      this.#plan = takePlan(this.#plan, answer.plan, instantOf(answer.serverTime));
    const { orderState, events } = applyOrders(this.#orderState, answer.orders, instantOf(answer.serverTime));
    this.#orderState = orderState;
    // The motor stops first: the order's event confirms what is done.
    if (this.isPaused) this.#standStill(at);
    for (const event of events) this.#record(event, at);
  }

  get spooled(): number {
    return this.#spool.length;
  }

  /** What is on its disk: all that the next boot knows. */
  memory(): FeederMemory {
    return { spool: this.#spool.all(), orderState: this.#orderState, plan: this.#plan };
  }

  // --- plan ------------------------------------------------------------------------------------------------------------

  /** With a plan the event says whether it earned a portion: a promise, and so none while paused or while too many wait. */
  #recordAct(cause: EarningKind, event: NewSpoolEvent & { readonly kind: EarningKind }, at: Instant): void {
    if (this.#plan === null) {
      this.#addPending({ cause, paysFor: this.#record(event, at) }, at);
      return;
    }
    const isOpen = !this.isPaused && (cause === "deposit" || this.#pending.length < pendingMax);
    const earned = isOpen ? earnPortion(this.#plan, cause, at, this.#serverTime(at)) : null;
    if (earned !== null) this.#plan = earned.memory;
    const earns = earned?.earns ?? false;
    const paysFor = this.#record({ ...event, earns }, at);
    if (earns) this.#addPending({ cause, paysFor }, at);
  }

  /** What comes while it is paused is not made up for. */
  #takeFreeFood(at: Instant): void {
    const now = this.#serverTime(at);
    if (this.#plan === null || now === null) return;
    const { memory, portions } = dueFreeFood(this.#plan, now, this.#airCelsius);
    this.#plan = memory;
    for (let portion = 0; portion < portions; portion++) this.#addPending({ cause: "timer", paysFor: null }, at);
  }

  /** By its own clock. */
  #freeFoodAt(): Instant | null {
    if (this.#plan === null || this.#serverAhead === null) return null;
    const next = nextFreeFoodAt(this.#plan);
    return next === null ? null : ((next - this.#serverAhead) as Instant);
  }

  // --- motor -----------------------------------------------------------------------------------------------------------

  #addPending(portion: PendingPortion, at: Instant): void {
    if (this.isPaused) return; // the event is recorded, and never paid late
    // Every cap is paid for: the birds are trained to expect it.
    if (portion.cause !== "press" || this.#pending.length < pendingMax) this.#pending.push(portion);
    this.#startNext(at);
  }

  #startNext(at: Instant): void {
    if (this.#motor || this.isPaused) return;
    const next = this.#pending.shift();
    if (!next) return;
    // A motor that draws far more current than usual is stalled: it is switched off before it overheats.
    const stalled = this.#hardware.runningMilliamps(at) > stallMilliamps;
    if (this.#plan !== null) this.#plan = countPortion(this.#plan, this.#serverTime(at));
    this.#motor = { ...next, startedAt: at, endsAt: after(at, stalled ? stallCutoff : portionRun) };
  }

  #standStill(at: Instant): void {
    this.#pending = [];
    if (this.#motor) this.#stopMotor(at);
  }

  #stopMotor(at: Instant): void {
    if (!this.#motor) return;
    const { cause, paysFor, startedAt } = this.#motor;
    this.#motor = null;
    this.#hopperGrams = null; // what just fell isn't in it
    const ranFor = (at - startedAt) as Span;
    const result = this.#hardware.runMotor(ranFor, at);
    this.#counts.chute += result.chuteCount ?? 0;
    this.#record(
      {
        kind: "portion",
        cause,
        paysFor,
        motorMs: ranFor,
        meanMilliamps: result.meanMilliamps,
        peakMilliamps: result.peakMilliamps,
        chuteCount: result.chuteCount,
        lowestVolts: result.lowestVolts,
      },
      at,
    );
  }

  /** A bird on the perch and a running motor both disturb the scale: without a perch switch only the motor is known. */
  #weighInQuiet(): void {
    if (this.isQuiet) this.#hopperGrams = this.#hardware.weigh();
  }

  // --- clock and record ------------------------------------------------------------------------------------------------

  #uptime(at: Instant): number {
    return Math.max(0, Math.floor(at - this.#bootedAt));
  }

  #serverTime(at: Instant): Instant | null {
    return this.#serverAhead === null ? null : after(at, this.#serverAhead);
  }

  #record(event: NewSpoolEvent, at: Instant): number {
    const seq = ++this.#seq;
    this.#spool.add(this.boot, { seq, uptimeMs: this.#uptime(at), ...event });
    return seq;
  }

  #fittedCounts(): Partial<Record<"button" | "detector" | "chute" | "perch", number>> {
    const { fitted } = this.#hardware;
    const { button, detector, chute, perch } = this.#counts;
    return {
      ...(fitted.button ? { button } : {}),
      ...(fitted.detector ? { detector } : {}),
      ...(fitted.chute ? { chute } : {}),
      ...(fitted.perch ? { perch } : {}),
    };
  }
}

export type ReportInput = z.input<typeof reportSchema>;

/** The parts that a feeder's program reads and moves. */
export interface Hardware {
  readonly fitted: {
    readonly button: boolean;
    readonly detector: boolean;
    readonly chute: boolean;
    readonly perch: boolean;
  };
  isPerched(): boolean;
  /** The load cell just now, grams; null where it shows nothing. */
  weigh(): number | null;
  runningMilliamps(at: Instant): number;
  /** The motor has just run for so long. */
  runMotor(ranFor: Span, at: Instant): PortionResult;
  read(at: Instant): SensorReadings;
}

export interface FeederMemory {
  readonly spool: readonly SpoolEntry[];
  readonly orderState: OrderState;
  /** Null or left out: it has none. */
  readonly plan?: PlanMemory | null;
}

interface PendingPortion {
  readonly cause: "press" | "deposit" | "timer";
  readonly paysFor: number | null;
}
interface RunningPortion extends PendingPortion {
  readonly startedAt: Instant;
  readonly endsAt: Instant;
}

/** A press while the motor runs is paid after it; this limit keeps a bird that drums on the button from emptying the hopper. */
const pendingMax = 3;
/** About twice what the motor draws on the coldest night. */
const stallMilliamps = 600;
const stallCutoff = 400 as Span;
