import type { z } from "zod";
import { type Answer, eventsPerReportMax, type reportSchema } from "../contract/report.ts";
import { after, type Instant, instantOf, type Span } from "../domain/instant.ts";
import { type RecordedEvent, Spool, type SpoolEntry } from "./model/spool.ts";
import { applyOrders, endExpiredPause, type OrderState, resumeAt } from "./orderState.ts";
import { type PortionResult, portionRun, type SensorReadings } from "./world.ts";

/**
 * A feeder's own program, as a real one should do its duties: it writes everything down before it forgets it, numbers it,
 * tells it until it is told that it is safe, pays what it owes, and obeys. It knows no wall clock, only how long it has been
 * up; a runner hands in the time and the hardware, and carries the reports.
 */
export class Feeder {
  readonly boot: string;
  readonly #hardware: Hardware;
  readonly #bootedAt: Instant;
  readonly #spool: Spool;
  readonly #counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  #seq = 0;
  #motor: RunningPortion | null = null;
  #owed: PendingPortion[] = [];
  #obedience: OrderState;
  #hopperGrams: number | null = null; // as weighed in quiet since the last portion
  /** Server time less our time; null until the server has told it in this boot, since there is no clock of our own. */
  #serverAhead: Span | null = null;

  constructor(hardware: Hardware, memory: FeederMemory, boot: string, bootedAt: Instant) {
    this.#hardware = hardware;
    this.boot = boot;
    this.#bootedAt = bootedAt;
    this.#spool = new Spool(memory.spool);
    this.#obedience = memory.orderState;
  }

  // --- what its sensors tell it ----------------------------------------------------------------------------------------

  perchPressed(at: Instant): void {
    if (!this.#hardware.fitted.perch) return;
    this.#counts.perch++;
    this.#write({ kind: "visit" }, at);
  }

  buttonPressed(at: Instant): void {
    this.#counts.button++;
    const seq = this.#write({ kind: "press" }, at);
    this.#owe({ cause: "press", paysFor: seq }, at);
  }

  capDetected(signal: number, at: Instant): void {
    this.#counts.detector++;
    const seq = this.#write({ kind: "deposit", metal: true, signal: Math.round(signal * 100) / 100, chute: true }, at);
    this.#owe({ cause: "deposit", paysFor: seq }, at);
  }

  /** The plan's free food is due. While paused it is left out, not put off: a resume must not feed a backlog. */
  freeFoodDue(at: Instant): void {
    this.#owe({ cause: "timer", paysFor: null }, at);
  }

  lidMoved(open: boolean, at: Instant): void {
    this.#write({ kind: "lid", open }, at);
  }

  /** The keeper pressed "filled" inside the lid. */
  refillTold(grams: number, at: Instant): void {
    this.#write({ kind: "refill", grams, full: true }, at);
  }

  // --- time passing ----------------------------------------------------------------------------------------------------

  /** When `tick` has something to do; null while only the sensors can wake it. */
  dueAt(): Instant | null {
    const pauseEnds = resumeAt(this.#obedience, this.#serverAhead);
    if (this.#motor && pauseEnds !== null) return Math.min(this.#motor.endsAt, pauseEnds) as Instant;
    return this.#motor?.endsAt ?? pauseEnds;
  }

  tick(at: Instant): void {
    if (this.#motor && at >= this.#motor.endsAt) this.#stopMotor(this.#motor.endsAt);
    this.#obedience = endExpiredPause(this.#obedience, this.#serverTime(at));
    this.#weighInQuiet();
    this.#startNext(at);
  }

  get paused(): boolean {
    return this.#obedience.pausedBy !== null;
  }

  get motorOn(): boolean {
    return this.#motor !== null;
  }

  get portionsToGive(): number {
    return this.#owed.length + (this.#motor ? 1 : 0);
  }

  /** Nothing moves and nobody sits on it: the moment to weigh, and so to report. */
  get quiet(): boolean {
    return !this.#motor && !(this.#hardware.fitted.perch && this.#hardware.isPerched());
  }

  // --- talking ---------------------------------------------------------------------------------------------------------

  /** What it would say now. A report speaks for one boot: what an earlier one left behind goes first, and has no uptime. */
  report(at: Instant, most = eventsPerReportMax): ReportInput {
    const dropped = this.#spool.takeDropped();
    if (dropped > 0) this.#write({ kind: "trouble", words: `The spool was full: ${dropped} old events are lost.` }, at);
    this.#weighInQuiet();
    const oldest = this.#spool.oldest(most);
    if (oldest && oldest.boot !== this.boot)
      return { boot: oldest.boot, sentUptimeMs: null, events: [...oldest.events] };
    return {
      boot: this.boot,
      sentUptimeMs: this.#uptime(at),
      readings: {
        ...(this.#hopperGrams === null ? {} : { hopperGrams: this.#hopperGrams }),
        ...this.#hardware.read(at),
        spooled: this.#spool.length,
        counts: this.#fittedCounts(),
        paused: this.paused,
      },
      events: oldest ? [...oldest.events] : [],
    };
  }

  /** The server has answered a report of `boot`: what it has stored may go, and what it orders is done at once. */
  answered(boot: string, answer: Answer, at: Instant): void {
    if (answer.storedThrough !== null) this.#spool.forget(boot, answer.storedThrough);
    this.#serverAhead = (instantOf(answer.serverTime) - at) as Span;
    const { obedience, said } = applyOrders(this.#obedience, answer.orders, instantOf(answer.serverTime));
    this.#obedience = obedience;
    // Hands off first, then the proof: the order's event is written when the motor stands.
    if (this.paused) this.#standStill(at);
    for (const words of said) this.#write(words, at);
  }

  get spooled(): number {
    return this.#spool.length;
  }

  /** What lies on its disk: all that the next boot knows. */
  memory(): FeederMemory {
    return { spool: this.#spool.all(), orderState: this.#obedience };
  }

  // --- motor -----------------------------------------------------------------------------------------------------------

  #owe(owed: PendingPortion, at: Instant): void {
    if (this.paused) return; // recorded, and never paid late
    // A cap is always paid for: that is the promise.
    if (owed.cause === "deposit" || this.#owed.length < pendingMax) this.#owed.push(owed);
    this.#startNext(at);
  }

  #startNext(at: Instant): void {
    if (this.#motor || this.paused) return;
    const next = this.#owed.shift();
    if (!next) return;
    // A motor that draws far more than it should is stalled: cut it off before it burns.
    const stalled = this.#hardware.runningMilliamps(at) > stallMilliamps;
    this.#motor = { ...next, startedAt: at, endsAt: after(at, stalled ? stallCutoff : portionRun) };
  }

  #standStill(at: Instant): void {
    this.#owed = [];
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
    this.#write(
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

  /** A bird on the perch and a motor that shakes the hopper both weigh: without a perch switch only the motor is known. */
  #weighInQuiet(): void {
    if (this.quiet) this.#hopperGrams = this.#hardware.weigh();
  }

  // --- clock and paper -------------------------------------------------------------------------------------------------

  #uptime(at: Instant): number {
    return Math.max(0, Math.floor(at - this.#bootedAt));
  }

  #serverTime(at: Instant): Instant | null {
    return this.#serverAhead === null ? null : after(at, this.#serverAhead);
  }

  #write(words: RecordedEvent, at: Instant): number {
    const seq = ++this.#seq;
    this.#spool.add(this.boot, { seq, uptimeMs: this.#uptime(at), ...words });
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
  /** The load cell just now, grams; null where it says nothing. */
  weigh(): number | null;
  runningMilliamps(at: Instant): number;
  /** The motor has just run for so long. */
  runMotor(ranFor: Span, at: Instant): PortionResult;
  read(at: Instant): SensorReadings;
}

export interface FeederMemory {
  readonly spool: readonly SpoolEntry[];
  readonly orderState: OrderState;
}

interface PendingPortion {
  readonly cause: "press" | "deposit" | "timer";
  readonly paysFor: number | null;
}
interface RunningPortion extends PendingPortion {
  readonly startedAt: Instant;
  readonly endsAt: Instant;
}

/** Birds that press while the tray turns are paid after it, but a bird that drums on the button is not fed by the drum. */
const pendingMax = 3;
/** About twice what the motor draws on the coldest night. */
const stallMilliamps = 600;
const stallCutoff = 400 as Span;
