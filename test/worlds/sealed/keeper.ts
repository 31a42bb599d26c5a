import type { LoggedAct } from "../../../server/contract/feederLog.ts";
import type { KeeperPhone, Story } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Fault } from "./fault.ts";
import type { Hopper } from "./food.ts";
import type { Random } from "./random.ts";
import { dayMs, hourMs, minuteMs, type Place, solarHour, solarMidnight } from "./sky.ts";

/** Who looks after the feeder, and what they tell the phone of it. Ranges: common practice, no source. */

export interface KeeperPart {
  readonly looksPerDay: number;
  readonly ignoredDays: number; // share of days on which what the phone asks for is left for tomorrow
  readonly goesAfterMs: number; // from looking to going out
  readonly tells: Readonly<Record<Telling, number>>; // weights
  readonly doubles: number; // share of what is told that is told twice
  readonly says: "grams" | "filled" | "level";
  readonly amountSpread: number;
  readonly bagGrams: number | null; // pours a bag or scoop of that; null: until full
  readonly fullShare: number; // of the capacity that counts as full
  readonly takesOff: number; // share of refills for which the hopper is lifted off
  readonly offMs: number;
  readonly cleansEveryDays: number | null;
  readonly pausesToClean: boolean;
  readonly holidays: number; // in sixty days
  readonly pressesAtFeeder: boolean; // tells by a button at the feeder
}

type Telling = "atOnce" | "hoursLate" | "dayLate" | "lateWithoutTime" | "never";

export function drawKeeper(capacity: number, random: Random): KeeperPart {
  const says = random.pick(["grams", "grams", "filled", "filled", "level"] as const);
  return {
    looksPerDay: random.uniform(1, 7),
    ignoredDays: random.chance(0.5) ? 0 : random.uniform(0.02, 0.4),
    goesAfterMs: random.logUniform(3, 300) * minuteMs,
    tells: drawTells(random),
    doubles: random.chance(0.5) ? 0 : random.uniform(0.01, 0.12),
    says,
    amountSpread: random.logUniform(0.01, 0.35),
    bagGrams: says === "filled" || random.chance(0.4) ? null : capacity * random.uniform(0.35, 0.8),
    fullShare: random.uniform(0.85, 1),
    takesOff: random.chance(0.5) ? 0 : random.uniform(0.1, 1),
    offMs: random.logUniform(1, 25) * minuteMs,
    cleansEveryDays: random.chance(0.35) ? null : random.logUniform(4, 40),
    pausesToClean: random.chance(0.35),
    holidays: random.chance(0.55) ? 0 : random.uniform(0.3, 1.5),
    pressesAtFeeder: random.chance(0.1),
  };
}

function drawTells(random: Random): KeeperPart["tells"] {
  const isOrderly = random.chance(0.45);
  return {
    atOnce: isOrderly ? 10 : random.uniform(0.5, 4),
    hoursLate: isOrderly ? 0.5 : random.uniform(0, 2),
    dayLate: isOrderly ? 0.1 : random.uniform(0, 1),
    lateWithoutTime: isOrderly ? 0.1 : random.uniform(0, 1),
    never: isOrderly ? 0.1 : random.uniform(0, 0.8),
  };
}

/** What a keeper does at the feeder. */
export interface Hands {
  tell(act: LoggedAct): void;
  pour(grams: number): void;
  /** Opens the lid and reaches in, or lifts the hopper off, and closes it after `span`. */
  open(span: number, liftsOff: boolean, done: () => void): void;
  wipe(): void;
  pressRefilled(): void;
  order(kind: "pause" | "resume"): void;
}

export interface KeeperParts {
  readonly part: KeeperPart;
  readonly story: Story;
  readonly phone: KeeperPhone;
  readonly agenda: Agenda;
  readonly random: Random;
  readonly place: Place;
  readonly hopper: Hopper;
  readonly fault: Fault;
  readonly hands: Hands;
}

export class Keeper {
  readonly part: KeeperPart;
  readonly #parts: KeeperParts;
  #awayUntil = 0;
  #isOnTheWay = false;

  constructor(parts: KeeperParts) {
    this.part = parts.part;
    this.#parts = parts;
  }

  /** The first food of a story, before anything is told of it. @returns grams */
  fill(): number {
    const { hands, hopper, random } = this.#parts;
    const grams = hopper.capacity * this.part.fullShare * (random.chance(0.6) ? 1 : random.uniform(0.3, 1));
    hands.pour(grams);
    return grams;
  }

  /** Of the first food every keeper tells, as well as they know it. */
  begin(grams: number): void {
    this.#parts.hands.tell(refillAct(this.#amount(grams), null));
    if (this.part.cleansEveryDays !== null) this.#planCleaning();
  }

  planDay(midnight: number): void {
    const { agenda, random } = this.#parts;
    if (random.chance(this.part.holidays / 60) && agenda.now >= this.#awayUntil) {
      this.#awayUntil = agenda.now + random.uniform(2, 10) * dayMs;
    }
    if (agenda.now < this.#awayUntil || random.chance(this.part.ignoredDays)) return;
    const looks = Math.max(1, random.poisson(this.part.looksPerDay));
    for (let count = 0; count < looks; count += 1) {
      agenda.plan(midnight + random.uniform(6.5, 22.5) * hourMs, () => this.#look());
    }
  }

  #look(): void {
    const { agenda, story, phone, random, fault } = this.#parts;
    if (!phone.asksForFood || story.refills === "never" || this.#isOnTheWay || agenda.now < this.#awayUntil) return;
    if (fault.is("foodOut", agenda.now)) return;
    this.#isOnTheWay = true;
    this.#whenUp(random.exponential(this.part.goesAfterMs), () => this.#goRefill());
  }

  /** Nobody goes out at night. */
  #whenUp(span: number, act: () => void): void {
    const { agenda, place, random } = this.#parts;
    const at = agenda.now + span;
    const hour = solarHour(place, at);
    const isUp = hour >= 6.5 && hour < 22.5;
    const morning = solarMidnight(place, at) + (hour < 6.5 ? 0 : dayMs) + random.uniform(6.5, 9) * hourMs;
    agenda.at(isUp ? at : morning, act);
  }

  #goRefill(): void {
    const { hopper, hands, random, fault, agenda } = this.#parts;
    this.#isOnTheWay = false;
    if (fault.is("foodOut", agenda.now)) return;
    if (hopper.level > 0.75) {
      // Full, whatever the phone says: some tell it so.
      if (random.chance(0.6))
        hands.tell({ by: "keeper", refill: { levelGrams: rounded(hopper.usable + hopper.rest) } });
      return;
    }
    const liftsOff = random.chance(this.part.takesOff);
    const span = liftsOff ? random.logNormal(this.part.offMs, 0.5) : random.uniform(30, 240) * 1_000;
    hands.open(span, liftsOff, () => this.#pour());
  }

  #pour(): void {
    const { hopper, hands, random } = this.#parts;
    const { bagGrams, fullShare } = this.part;
    const room = Math.max(0.02, fullShare * random.normal(1, 0.03) - hopper.level) * hopper.capacity;
    const grams = Math.min(room, bagGrams ?? room);
    hands.pour(grams);
    if (this.part.pressesAtFeeder) hands.pressRefilled();
    else this.#tell(grams);
  }

  #tell(grams: number): void {
    const { agenda, random } = this.#parts;
    const amount = this.#amount(grams);
    const poured = agenda.now;
    const telling = random.weighted(this.part.tells);
    if (telling === "never") return;
    if (telling === "atOnce") {
      this.#tellLater(amount, random.uniform(0.3, 6) * minuteMs, null);
      return;
    }
    const isDay = telling === "dayLate" || (telling === "lateWithoutTime" && random.chance(0.3));
    const span = random.uniform(isDay ? 16 : 1, isDay ? 34 : 9) * hourMs;
    this.#tellLater(amount, span, telling === "lateWithoutTime" ? null : poured);
  }

  #tellLater(amount: Amount, span: number, poured: number | null): void {
    const { agenda, hands, random } = this.#parts;
    // As remembered: to the quarter of an hour, and never after it is told.
    const quarter = 15 * minuteMs;
    const remembered = (at: number) => Math.round((at + random.normal(0, 0.1 * span)) / quarter) * quarter;
    const at = poured === null ? null : Math.min(agenda.now + span, remembered(poured));
    const act = refillAct(amount, at);
    agenda.in(span, () => {
      hands.tell(act);
      if (random.chance(this.part.doubles)) agenda.in(random.uniform(0.2, 90) * minuteMs, () => hands.tell(act));
    });
  }

  #amount(poured: number): Amount {
    const { hopper, random } = this.#parts;
    const believed = (grams: number) => rounded(Math.max(1, grams * random.logNormal(1, this.part.amountSpread)));
    if (this.part.says === "filled") return { filled: true };
    if (this.part.says === "grams") return { grams: believed(poured) };
    return { levelGrams: believed(hopper.usable + hopper.rest) };
  }

  #planCleaning(): void {
    const { agenda, random } = this.#parts;
    const days = (this.part.cleansEveryDays ?? 0) * random.uniform(0.6, 1.5);
    this.#whenUp(days * dayMs, () => {
      this.#planCleaning();
      if (agenda.now >= this.#awayUntil) this.#clean();
    });
  }

  #clean(): void {
    const { agenda, hands, random } = this.#parts;
    const { pausesToClean, takesOff, offMs } = this.part;
    if (pausesToClean) hands.order("pause");
    agenda.in(pausesToClean ? random.uniform(1, 8) * minuteMs : 0, () => {
      hands.open(random.logNormal(offMs, 0.5), random.chance(Math.max(0.3, takesOff)), () => {
        hands.wipe();
        if (random.chance(0.8)) this.#tellCleaned(random.chance(0.8) ? 0 : random.uniform(0.5, 12) * hourMs);
        if (pausesToClean) agenda.in(random.uniform(0.5, 5) * minuteMs, () => hands.order("resume"));
      });
    });
  }

  /** @param span from the cleaning until it is told */
  #tellCleaned(span: number): void {
    const { agenda, hands } = this.#parts;
    const when = span === 0 ? {} : { at: new Date(agenda.now).toISOString() };
    agenda.in(span, () => hands.tell({ by: "keeper", cleaned: when }));
  }
}

type Amount = Omit<NonNullable<LoggedAct["refill"]>, "at">;

const refillAct = (amount: Amount, at: number | null): LoggedAct => ({
  by: "keeper",
  refill: at === null ? amount : { at: new Date(at).toISOString(), ...amount },
});

const rounded = (grams: number) =>
  Math.max(0, Math.min(49_000, grams < 400 ? Math.round(grams) : Math.round(grams / 10) * 10));
