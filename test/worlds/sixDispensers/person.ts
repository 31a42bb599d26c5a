import { instant, isoOf } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone } from "../world.ts";
import { day, hour, minute } from "./agenda.ts";
import type { Parts } from "./parts.ts";
import { dayBegin, localHour } from "./place.ts";
import type { Program } from "./program.ts";
import type { Stream } from "./stream.ts";

export type KeeperAct = Extract<LogLine, { kind: "keeper" }>["act"];

/** How this keeper is. Ranges: common practice, no source. */
interface Ways {
  readonly looksPerDay: number; // at the phone
  readonly delay: number; // from having seen it to the feeder, median
  readonly unaskedEvery: number; // span between refills that nobody asked for; infinite for some
  readonly tells: "grams" | "filled" | "levelGrams";
  readonly untold: number; // shares of refills
  readonly lateAsNow: number;
  readonly lateWithTime: number;
  readonly twice: number;
  readonly wrong: number;
  readonly carelessness: number; // spread of what is told around what was poured
  readonly bag: number | null; // grams, where a whole bag is poured in
  readonly takesHopperOff: number;
  readonly cleansEvery: number;
  readonly tellsCleaning: number;
  readonly testPortions: number;
  readonly throwsRestAway: number;
  readonly visitsPerWeek: number; // only to look
}

function drawWays(stream: Stream, capacity: number): Ways {
  const isExact = stream.chance(0.4); // with a kitchen scale
  return {
    looksPerDay: stream.logUniform(0.4, 5),
    delay: stream.logUniform(0.7, 30) * hour,
    unaskedEvery: stream.chance(0.4) ? Number.POSITIVE_INFINITY : stream.logUniform(4, 50) * day,
    tells: stream.pick(["grams", "grams", "grams", "filled", "levelGrams"] as const),
    untold: stream.chance(0.4) ? 0 : stream.uniform(0.02, 0.15),
    lateAsNow: stream.chance(0.5) ? 0 : stream.uniform(0.01, 0.1),
    lateWithTime: stream.uniform(0, 0.12),
    twice: stream.uniform(0, 0.04),
    wrong: stream.chance(0.4) ? 0 : stream.uniform(0.03, 0.2),
    carelessness: isExact ? 0.01 : stream.uniform(0.04, 0.15),
    bag: stream.chance(0.3) ? Math.min(capacity, stream.pick([250, 500, 750, 1_000, 2_000])) : null,
    takesHopperOff: stream.chance(0.5) ? 0.03 : stream.uniform(0.2, 0.9),
    cleansEvery: stream.logUniform(6, 60) * day,
    tellsCleaning: stream.uniform(0.2, 1),
    testPortions: stream.pick([0, 0, 1, 2, 3]),
    throwsRestAway: stream.uniform(0, 0.08),
    visitsPerWeek: stream.logUniform(0.2, 5),
  };
}

/** The keeper: comes when the phone asks, and also when not; tells what was done, mostly. */
export class Person {
  readonly #parts: Parts;
  readonly #program: Program;
  readonly #phone: KeeperPhone;
  readonly #tell: (act: KeeperAct, now: number) => void;
  readonly #stream: Stream;
  readonly #ways: Ways;
  readonly #scaleMisreads: number; // what this keeper's measure is off by, as a factor
  #handsUntil = 0;
  #hopperOffUntil = 0;
  #isComing = false;

  constructor(parts: Parts, program: Program, phone: KeeperPhone, tell: (act: KeeperAct, now: number) => void) {
    this.#parts = parts;
    this.#program = program;
    this.#phone = phone;
    this.#tell = tell;
    this.#stream = parts.stream("person");
    this.#ways = drawWays(this.#stream, parts.hopper.capacity);
    this.#scaleMisreads = this.#stream.factor(this.#ways.carelessness / 2);
  }

  begin(at: number): void {
    this.#nextLook(at);
    this.#nextUnasked(at);
    this.#nextCleaning(at);
    this.#nextVisit(at);
  }

  handling(now: number): { readonly hopperIsOff: boolean; readonly hands: boolean } {
    return { hopperIsOff: now < this.#hopperOffUntil, hands: now < this.#handsUntil };
  }

  /** The first filling is told while the feeder is set up. */
  tellFirst(grams: number, now: number): void {
    const { tells } = this.#ways;
    this.#tell({ refill: tells === "filled" ? { levelGrams: this.#stated(grams) } : this.#amount(grams) }, now);
  }

  #nextLook(now: number): void {
    const at = this.#awake(now + this.#stream.exponential(day / this.#ways.looksPerDay));
    this.#parts.agenda.add(at, (then) => {
      if (this.#phone.asksForFood && !this.#isComing)
        this.#planRefill(then + this.#ways.delay * this.#stream.factor(0.7));
      this.#nextLook(then);
    });
  }

  #nextUnasked(now: number): void {
    const span = this.#stream.exponential(this.#ways.unaskedEvery);
    if (!Number.isFinite(span)) return;
    this.#parts.agenda.add(this.#awake(now + day + span), (then) => {
      if (!this.#isComing) this.#planRefill(then);
      this.#nextUnasked(then);
    });
  }

  #nextCleaning(now: number): void {
    const at = this.#awake(now + this.#ways.cleansEvery * this.#stream.uniform(0.6, 1.5));
    this.#parts.agenda.add(at, (then) => {
      this.#clean(then);
      this.#nextCleaning(then);
    });
  }

  /** Shows a friend, sweeps snow, picks up caps: hands on the feeder, nothing told. */
  #nextVisit(now: number): void {
    const at = this.#awake(now + this.#stream.exponential((7 * day) / this.#ways.visitsPerWeek));
    this.#parts.agenda.add(at, (then) => {
      this.#standBy(then, 4 * minute);
      if (this.#stream.chance(0.4)) this.#handsUntil = then + this.#stream.uniform(0.2, 2) * minute;
      if (this.#stream.chance(0.5)) this.#parts.balance.weathering.sweep();
      this.#nextVisit(then);
    });
  }

  #planRefill(at: number): void {
    this.#isComing = true;
    this.#parts.agenda.add(this.#awake(at), (then) => {
      this.#isComing = false;
      this.#refill(then);
    });
  }

  #refill(now: number): void {
    const { story, malfunction, hopper, tally, balance } = this.#parts;
    if (story.refills === "never" || malfunction.kind === "foodOut") return;
    const stay = this.#stream.uniform(2, 9) * minute;
    this.#standBy(now, stay);
    this.#handsUntil = now + 0.7 * stay;
    balance.weathering.sweep();
    if (this.#stream.chance(this.#ways.takesHopperOff)) this.#takeOff(now, 0.6 * stay);
    if (!hopper.isBridged && this.#stream.chance(this.#ways.throwsRestAway)) hopper.throwAway();
    const room = Math.max(0, hopper.capacity * this.#stream.uniform(0.9, 1) - hopper.grams);
    const grams = Math.min(room, this.#ways.bag ?? room);
    if (grams < 5) return;
    hopper.pour(grams);
    tally.refilled();
    for (let test = 0; test < this.#ways.testPortions; test += 1) {
      this.#parts.agenda.add(now + stay + test * 20_000, (then) => this.#program.give("keeper", then));
    }
    this.#tellRefill(grams, now, now + stay);
  }

  #tellRefill(grams: number, at: number, now: number): void {
    const ways = this.#ways;
    const draw = this.#stream.unit();
    if (draw < ways.untold) return;
    const isWrong = this.#stream.chance(ways.wrong);
    const told = isWrong ? grams * this.#stream.pick([0.4, 0.5, 0.65, 1.5, 2]) : grams;
    const amount = this.#amount(Math.min(told, this.#parts.hopper.capacity));
    if (draw < ways.untold + ways.lateAsNow) {
      this.#tellAt(this.#awake(now + this.#stream.uniform(0.5, 1.5) * day), amount);
    } else if (draw < ways.untold + ways.lateAsNow + ways.lateWithTime) {
      const refillAt = isoOf(instant(Math.round(at)));
      this.#tellAt(this.#awake(now + this.#stream.logUniform(0.5, 30) * hour), { ...amount, at: refillAt });
    } else {
      const soon = now + this.#stream.exponential(6 * minute);
      this.#tellAt(soon, amount);
      if (this.#stream.chance(ways.twice)) this.#tellAt(soon + this.#stream.logUniform(1, 300) * minute, amount);
    }
  }

  #tellAt(at: number, refill: NonNullable<KeeperAct["refill"]>): void {
    this.#parts.agenda.add(at, (now) => this.#tell({ refill }, now));
  }

  #amount(poured: number): NonNullable<KeeperAct["refill"]> {
    const { hopper } = this.#parts;
    if (this.#ways.tells === "filled" && hopper.fullness > 0.85) return { filled: true };
    if (this.#ways.tells === "levelGrams") return { levelGrams: this.#stated(hopper.grams) };
    return { grams: this.#stated(poured) };
  }

  /** Weighed or guessed; guesses are round numbers. */
  #stated(grams: number): number {
    const { carelessness } = this.#ways;
    const guess = grams * this.#scaleMisreads * this.#stream.factor(carelessness);
    const step = carelessness < 0.02 ? 1 : grams > 400 ? 50 : 10;
    return Math.min(49_000, Math.max(step, Math.round(guess / step) * step));
  }

  #clean(now: number): void {
    const stay = this.#stream.uniform(3, 15) * minute;
    this.#standBy(now, stay);
    this.#handsUntil = now + 0.8 * stay;
    if (this.#stream.chance(0.6)) this.#takeOff(now, 0.7 * stay);
    this.#parts.beam.wipe(now);
    if (!this.#stream.chance(this.#ways.tellsCleaning)) return;
    this.#parts.agenda.add(now + stay + this.#stream.exponential(10 * minute), (then) =>
      this.#tell({ cleaned: {} }, then),
    );
  }

  #takeOff(now: number, span: number): void {
    this.#hopperOffUntil = now + span;
    this.#parts.tally.hopperIsOff = true;
    this.#parts.agenda.add(now + span, (then) => {
      if (then < this.#hopperOffUntil) return;
      this.#parts.tally.hopperIsOff = false;
      this.#parts.balance.reseat();
    });
  }

  /** Birds wait until the person has gone. */
  #standBy(now: number, span: number): void {
    this.#parts.flock.scare(now + span + this.#stream.uniform(2, 30) * minute);
  }

  /** Nobody is in the garden from ten in the evening to seven in the morning. */
  #awake(at: number): number {
    const { longitude } = this.#parts.place;
    const clock = localHour(at, longitude);
    if (clock >= 7 && clock < 22) return Math.round(at);
    const morning = dayBegin(at, longitude) + (clock >= 22 ? day : 0) + 7 * hour;
    return Math.round(morning + this.#stream.exponential(50 * minute));
  }
}
