import type { WorldSensors } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { ExpectedActs } from "./birds.ts";
import type { Computer, OpenPortion } from "./computer.ts";
import type { Fault } from "./fault.ts";
import type { Turned } from "./machine.ts";
import type { Random } from "./random.ts";
import { dayMs, hourMs } from "./sky.ts";
import type { Seen } from "./smallSensors.ts";

/** What gives portions: free food, presses and caps. Ranges: common practice, no source. */

export interface ProgramPart {
  readonly pressPays: boolean;
  readonly pressGapMs: number; // a press sooner after the last paid one counts for nothing
  readonly depositGapMs: number;
  readonly ration: number | null; // portions a day, free and earned
  readonly statesEarns: boolean;
  readonly statesPaysFor: boolean;
  readonly paysAtNight: boolean;
  readonly delayMs: number; // from an act to its portion
  readonly retries: number; // where the chute has counted nothing
  readonly retriesAsOwn: boolean; // as portions of their own
  readonly statesMotorMs: boolean;
  readonly statesChuteCount: boolean;
  readonly restsAfterStalls: boolean; // an hour, after three in a row
  readonly tellsStalls: boolean;
  readonly forgets: number; // share of the acts that earn a portion and get none, by a slip of the program
  readonly stillPromises: boolean; // once it pays no more
  readonly freePerDay: number;
  readonly freeEach: number;
}

/** @param expected acts a day by the birds: where they earn little, more food is free */
export function drawProgram(sensors: WorldSensors, expected: ExpectedActs, random: Random): ProgramPart {
  const pressPays = random.chance(0.85);
  const statesEarns = !pressPays || random.chance(0.55);
  const earned = expected.caps + (pressPays ? expected.presses : 0);
  const leastFree = Math.ceil(Math.max(0, 10 - 0.6 * earned));
  return {
    pressPays,
    pressGapMs: random.pick([0, 0, 1_000, 3_000, 10_000, 30_000]),
    depositGapMs: random.pick([0, 0, 0, 2_000, 10_000]),
    statesEarns,
    ...drawExceptions(statesEarns, random),
    statesPaysFor: random.chance(0.85),
    delayMs: random.logUniform(60, 3_000),
    retries: sensors.chute && random.chance(0.35) ? random.integer(1, 2) : 0,
    retriesAsOwn: random.chance(0.5),
    statesMotorMs: random.chance(0.88),
    statesChuteCount: random.chance(0.9),
    tellsStalls: random.chance(0.3),
    stillPromises: random.chance(0.6),
    freePerDay: leastFree === 0 && random.chance(0.25) ? 0 : random.integer(Math.max(2, leastFree), 40),
    freeEach: random.pick([1, 1, 1, 2, 3]),
  };
}

/** What earns nothing, beside acts that come too soon: only a program that says so for each act has such rules. */
const drawExceptions = (statesEarns: boolean, random: Random) => ({
  ration: statesEarns && random.chance(0.35) ? random.integer(60, 260) : null,
  paysAtNight: !statesEarns || random.chance(0.5),
  restsAfterStalls: statesEarns && random.chance(0.4),
  forgets: statesEarns || random.chance(0.6) ? 0 : random.logUniform(0.0003, 0.005),
});

/** A day's portions, to size a hopper by: birds lose interest, and some acts come too soon. */
export function expectedPortions(part: ProgramPart, acts: ExpectedActs): number {
  const earned = 0.6 * (acts.caps + (part.pressPays ? acts.presses : 0));
  return Math.min(part.ration ?? 400, part.freePerDay * part.freeEach + earned);
}

export interface ProgramParts {
  readonly part: ProgramPart;
  readonly agenda: Agenda;
  readonly computer: Computer;
  readonly sensors: WorldSensors;
  readonly fault: Fault;
  readonly random: Random;
  readonly isDaylight: () => boolean;
  readonly turn: () => Turned;
  /** A motor run begins, of all the turns that count as one. */
  readonly run: (turns: readonly Turned[]) => void;
  /** Something may lie in the tray now. */
  readonly fell: (turns: readonly Turned[]) => void;
}

type Cause = "timer" | "press" | "deposit";
interface Owed {
  readonly cause: Cause;
  readonly paysFor: number | null;
  readonly retriesLeft: number;
}

/** More acts than that aren't remembered while the motor turns. */
const queueMax = 4;

export class Program {
  readonly part: ProgramPart;
  readonly #parts: ProgramParts;
  #queue: Owed[] = [];
  #isBusy = false;
  #paidAt = { press: 0, deposit: 0 };
  #givenOfDay = { day: 0, portions: 0 };
  #stalls = 0;
  #restsUntil = 0;

  constructor(parts: ProgramParts) {
    this.part = parts.part;
    this.#parts = parts;
  }

  /** The computer has stopped: what was owed is forgotten. */
  stop(): void {
    this.#queue = [];
    this.#isBusy = false;
  }

  freeFood(): void {
    const { computer } = this.#parts;
    if (!computer.isOn || !computer.knowsTime || !this.#mayGive()) return;
    for (let portion = 0; portion < this.part.freeEach; portion += 1) this.#owe("timer", null);
  }

  press(): void {
    const { computer, sensors } = this.#parts;
    if (!computer.isOn || !sensors.button) return;
    computer.count("button");
    const earns = this.part.pressPays && this.#earns("press", this.part.pressGapMs);
    const seq = this.#recordAct({ kind: "press" }, earns);
    if (earns) this.#pay("press", seq);
  }

  deposit({ metal, beam, signal }: Seen, part: { readonly hasBeam: boolean; readonly hasSignal: boolean }): void {
    const { computer, sensors, fault, agenda } = this.#parts;
    if (!computer.isOn || !sensors.detector || !(metal || beam)) return;
    if (metal) computer.count("detector");
    const earns = metal && this.#earns("deposit", this.part.depositGapMs);
    const paysNoMore = fault.is("paysNoMore", agenda.now);
    const seen = { kind: "deposit", metal, ...(part.hasSignal && { signal }), ...(part.hasBeam && { chute: beam }) };
    const seq = this.#recordAct(seen, earns, paysNoMore && !this.part.stillPromises);
    if (earns && !paysNoMore) this.#pay("deposit", seq);
  }

  #recordAct(fields: { kind: string }, earns: boolean, isSilent = false): number {
    const { computer, agenda } = this.#parts;
    const stated = this.part.statesEarns && !(earns && isSilent) ? { earns } : {};
    return computer.record(agenda.now, { ...fields, ...stated });
  }

  #earns(act: "press" | "deposit", gapMs: number): boolean {
    const { agenda, isDaylight } = this.#parts;
    if (agenda.now < this.#paidAt[act] + gapMs || this.#queue.length >= queueMax) return false;
    return this.#mayGive() && (this.part.paysAtNight || isDaylight());
  }

  #mayGive(): boolean {
    const { agenda, computer } = this.#parts;
    const day = Math.floor(agenda.now / dayMs);
    if (this.#givenOfDay.day !== day) this.#givenOfDay = { day, portions: 0 };
    const isWithin = this.part.ration === null || this.#givenOfDay.portions < this.part.ration;
    return isWithin && !computer.isPaused && agenda.now >= this.#restsUntil;
  }

  #pay(act: "press" | "deposit", seq: number): void {
    this.#paidAt[act] = this.#parts.agenda.now;
    if (this.#parts.random.chance(this.part.forgets)) return;
    this.#owe(act, this.part.statesPaysFor ? seq : null);
  }

  #owe(cause: Cause, paysFor: number | null): void {
    this.#givenOfDay.portions += 1;
    this.#queue.push({ cause, paysFor, retriesLeft: this.part.retries });
    if (!this.#isBusy) this.#wait(this.part.delayMs);
  }

  #wait(span: number): void {
    const { agenda, computer, random } = this.#parts;
    const { boot } = computer;
    this.#isBusy = true;
    agenda.in(span * random.uniform(0.9, 1.2), () => {
      if (computer.isOn && computer.boot === boot) this.#next();
    });
  }

  #next(): void {
    const { agenda, computer } = this.#parts;
    const owed = this.#queue.shift();
    this.#isBusy = owed !== undefined;
    // A pause or a rest that began since leaves out what was still owed.
    if (owed === undefined) return;
    if (computer.isPaused || agenda.now < this.#restsUntil) {
      this.#next();
      return;
    }
    const open = computer.beginPortion(agenda.now, owed.cause, owed.paysFor);
    const turns = this.#turns();
    this.#parts.run(turns);
    const { boot } = computer;
    agenda.in(durationMs(turns), () => {
      this.#parts.fell(turns);
      if (computer.isOn && computer.boot === boot) this.#end(owed, open, turns);
    });
  }

  /** With its retries, where they belong to one portion. */
  #turns(): readonly Turned[] {
    const turns = [this.#parts.turn()];
    const more = this.part.retriesAsOwn ? 0 : this.part.retries;
    while (turns.length <= more && turns.at(-1)?.counted === 0) turns.push(this.#parts.turn());
    return turns;
  }

  #end(owed: Owed, open: OpenPortion, turns: readonly Turned[]): void {
    const { agenda, computer } = this.#parts;
    computer.endPortion(agenda.now, open, portionFields(turns, this.part));
    this.#feelStall(turns);
    const hasMissed = turns.every(({ counted }) => counted === 0);
    if (this.part.retriesAsOwn && hasMissed && owed.retriesLeft > 0) {
      this.#queue.unshift({ ...owed, retriesLeft: owed.retriesLeft - 1 });
    }
    this.#wait(250);
  }

  #feelStall(turns: readonly Turned[]): void {
    const { agenda, computer } = this.#parts;
    const wasCut = turns.some(({ isCut }) => isCut);
    this.#stalls = wasCut ? this.#stalls + 1 : 0;
    if (!wasCut || this.#stalls % 3 !== 0) return;
    if (this.part.tellsStalls) {
      computer.record(agenda.now, { kind: "trouble", words: "The motor drew too much current three times." });
    }
    if (this.part.restsAfterStalls) this.#restsUntil = agenda.now + hourMs;
  }
}

const restBetweenMs = 400;

const durationMs = (turns: readonly Turned[]): number =>
  turns.reduce((sum, { motorMs }) => sum + motorMs, 0) + restBetweenMs * (turns.length - 1);

function portionFields(turns: readonly Turned[], part: ProgramPart): object {
  const current = turns.at(-1)?.current ?? {};
  const volts = turns.flatMap(({ lowestVolts }) => (lowestVolts === null ? [] : [lowestVolts]));
  const counts = turns.flatMap(({ counted }) => (counted === null ? [] : [counted]));
  const motorMs = turns.reduce((sum, turn) => sum + turn.motorMs, 0);
  return {
    ...(part.statesMotorMs && { motorMs: Math.round(motorMs) }),
    ...current,
    ...(part.statesChuteCount && counts.length > 0 && { chuteCount: counts.reduce((sum, count) => sum + count, 0) }),
    ...(volts.length > 0 && { lowestVolts: Math.min(...volts) }),
    ...(turns.some(({ saysCut }) => saysCut) && { cutShort: true }),
  };
}
