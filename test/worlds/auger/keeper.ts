import type { LoggedAct, LoggedSettings } from "../../../server/contract/feederLog.ts";
import type { KeeperPhone, Story } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Dispenser } from "./dispenser.ts";
import { clamp, roundTo } from "./numbers.ts";
import type { PlantedFault } from "./planted.ts";
import type { Random } from "./random.ts";
import { localTime, place, zone } from "./sun.ts";
import { day, hour, minute } from "./time.ts";

interface KeeperParts {
  readonly agenda: Agenda;
  readonly story: Story;
  readonly phone: KeeperPhone;
  readonly dispenser: Dispenser;
  readonly fault: PlantedFault;
  say(at: number, act: LoggedAct): void;
  /** The lid is open, and so much more is in the hopper. */
  filled(at: number, grams: number): void;
}

/** Looks at the phone twice a day, refills when it asks, and tells the phone more or less what was done. */
export class Keeper {
  readonly #parts: KeeperParts;
  readonly #habits: KeeperHabits;
  readonly #random: Random;
  #isBusy = false; // a refill is planned, or is still to be told

  constructor(random: Random, parts: KeeperParts) {
    this.#random = random;
    this.#parts = parts;
    this.#habits = drawHabits(random);
  }

  /** What the keeper enters at the beginning. Some fields are never entered. */
  settings(): LoggedSettings {
    const { story, dispenser } = this.#parts;
    const { portionError, capacityError, entersPortion, entersCapacity, entersKind, countsPieces } = this.#habits;
    const { button, detector, chute, perch, scale } = story.sensors;
    const { food, nominalGrams, capacity } = dispenser;
    return {
      name: "Larch",
      food: food.words,
      ...(entersKind && { foodKind: food.kind }),
      ...(countsPieces && { grainsPerPortion: Math.max(1, Math.round(food.piecesPerPortion)) }),
      ...(entersCapacity && { hopperCapacityGrams: Math.max(50, roundTo(50, capacity * (1 + capacityError))) }),
      ...(entersPortion && { portionGrams: Math.max(0.1, roundTo(0.1, nominalGrams * (1 + portionError))) }),
      sensors: { button, detector, chute, perch, scale },
      battery: "none",
      reportEverySeconds: story.reportEverySeconds,
      warnAheadDays: this.#habits.warnAheadDays,
      zone,
      place,
    };
  }

  /** The hopper was filled before the feeder was switched on. */
  begin(at: number): void {
    if (this.#random.chance(0.1)) return; // never told
    const { dispenser } = this.#parts;
    const isFull = dispenser.content > 0.93 * dispenser.capacity && this.#random.chance(0.7);
    const refill = isFull ? { filled: true as const } : { levelGrams: this.#weighed(dispenser.content) };
    this.#later(at + this.#random.between(0.5, 20) * minute, (now) => this.#parts.say(now, { refill }));
  }

  planDay(at: number): void {
    const { morning, evening } = this.#habits;
    this.#later(localTime(at, morning + 0.4 * this.#random.normal()), (now) => this.#look(now));
    this.#later(localTime(at, evening + 0.6 * this.#random.normal()), (now) => this.#look(now));
  }

  #look(at: number): void {
    const { story, phone, fault } = this.#parts;
    const wait = this.#random.chance(0.3) ? this.#random.between(6, 30) : this.#random.between(0.2, 3);
    if (!phone.asksForFood || this.#isBusy || story.refills === "never" || fault.is("foodOut", at)) return;
    this.#isBusy = true;
    this.#later(this.#byDay(at + wait * hour), (now) => this.#refill(now));
  }

  /** Nobody refills at night. */
  #byDay(at: number): number {
    if (at > localTime(at, 21)) return localTime(at + day, 8 + this.#random.uniform());
    return Math.max(at, localTime(at, 6.5 + this.#random.uniform()));
  }

  #refill(at: number): void {
    const { dispenser, fault } = this.#parts;
    this.#isBusy = false;
    if (fault.is("foodOut", at)) return;
    const { capacity, content } = dispenser;
    if (content > 0.8 * capacity) {
      this.#tellLevel(at); // the phone was wrong: it gets to know what the keeper sees
      return;
    }
    const full = capacity * this.#random.between(0.95, 1);
    const bag = this.#habits.bagShare * capacity;
    const level = this.#random.chance(0.75) ? full : Math.min(full, content + bag);
    const added = level - content;
    this.#parts.filled(at, added);
    this.#tell(at, added, level > 0.93 * capacity);
  }

  #tellLevel(at: number): void {
    const levelGrams = roundTo(50, this.#parts.dispenser.content * this.#random.between(0.88, 1.12));
    this.#later(at + 2 * minute, (now) => this.#parts.say(now, { refill: { levelGrams } }));
  }

  #tell(at: number, added: number, isFull: boolean): void {
    const random = this.#random;
    const soon = at + random.between(0.5, 15) * minute;
    const late = at + random.between(18, 30) * hour;
    const again = soon + random.between(0.3, 30) * minute;
    const manner = this.#manner();
    const refill = this.#statement(added, isFull, manner === "wrong");
    if (manner === "untold") return;
    if (manner !== "late") {
      this.#say(soon, refill);
      if (manner === "twice") this.#say(again, refill);
      return;
    }
    this.#isBusy = true; // knows that food is in, whatever the phone says
    this.#later(late, () => {
      this.#isBusy = false;
    });
    this.#say(late, refill);
  }

  #manner(): Manner {
    const { shares } = this.#habits;
    let rest = this.#random.uniform();
    for (const [manner, share] of shares) {
      rest -= share;
      if (rest < 0) return manner;
    }
    return "atOnce";
  }

  #statement(added: number, isFull: boolean, isWrong: boolean): NonNullable<LoggedAct["refill"]> {
    const random = this.#random;
    const factor = isWrong ? random.pick([random.between(0.4, 0.75), random.between(1.3, 1.8)]) : 1;
    if (isWrong && !isFull && !this.#habits.weighs) return { filled: true };
    if (this.#habits.weighs || !isFull) return { grams: this.#weighed(added * factor) };
    if (!isWrong) return { filled: true };
    return { levelGrams: this.#weighed(this.#parts.dispenser.content * Math.min(factor, 1.4)) };
  }

  #weighed(grams: number): number {
    const { weighingError, roundsTo } = this.#habits;
    return clamp(roundTo(roundsTo, grams * (1 + weighingError * this.#random.normal())), roundsTo, 50_000);
  }

  #say(at: number, refill: NonNullable<LoggedAct["refill"]>): void {
    this.#later(at, (now) => this.#parts.say(now, { refill }));
  }

  #later(at: number, happen: (now: number) => void): void {
    this.#parts.agenda.add(Math.round(at), happen);
  }
}

type Manner = "atOnce" | "late" | "twice" | "wrong" | "untold";

interface KeeperHabits {
  readonly shares: readonly (readonly [Manner, number])[];
  readonly morning: number;
  readonly evening: number;
  readonly weighs: boolean;
  readonly weighingError: number;
  readonly roundsTo: number;
  readonly bagShare: number;
  readonly entersPortion: boolean;
  readonly portionError: number;
  readonly entersCapacity: boolean;
  readonly capacityError: number;
  readonly entersKind: boolean;
  readonly countsPieces: boolean;
  readonly warnAheadDays: number;
}

/** How people tell: common practice, no source. The rest of the shares is told at once and right. */
const drawHabits = (random: Random): KeeperHabits => ({
  shares: [
    ["late", random.between(0.03, 0.15)],
    ["twice", random.between(0.02, 0.1)],
    ["wrong", random.between(0.02, 0.12)],
    ["untold", random.between(0.02, 0.12)],
  ],
  morning: random.between(6.5, 9.5),
  evening: random.between(16.5, 20.5),
  weighs: random.chance(0.6),
  weighingError: random.logBetween(0.005, 0.12), // a kitchen scale, or cups
  roundsTo: random.pick([1, 10, 25, 50]),
  bagShare: random.between(0.25, 0.7),
  entersPortion: random.chance(0.85),
  portionError: random.between(-0.25, 0.25),
  entersCapacity: random.chance(0.9),
  capacityError: random.between(-0.15, 0.15),
  entersKind: random.chance(0.6),
  countsPieces: random.chance(0.25),
  warnAheadDays: random.pick([0.5, 1, 2, 3]),
});
