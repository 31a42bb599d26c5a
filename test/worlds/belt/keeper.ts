import type { LoggedAct } from "../../../server/contract/feederLog.ts";
import { instant, isoOf } from "../../../server/domain/instant.ts";
import type { KeeperPhone } from "../world.ts";
import { day, hour, minute } from "./agenda.ts";
import type { Chance } from "./chance.ts";
import type { Parts } from "./parts.ts";
import { hourOfDay } from "./place.ts";
import type { Program } from "./program.ts";

type Told = NonNullable<LoggedAct["refill"]>;
type Manner = "atOnce" | "lateAsIfNow" | "lateWithTime" | "twice" | "wrong" | "byFeeder" | "never";

/** Shares and spans: common practice, no source. */
interface Ways {
  readonly looks: readonly number[]; // hours of the day at which this keeper looks at the phone
  readonly sees: number; // chance that a look is a look
  readonly delay: number; // until they go out
  readonly roundEvery: number; // they come in any case
  readonly topsUpBelow: number; // on such a round, by the capacity
  readonly exact: number; // share of refills that are told at once and right
  readonly measures: "grams" | "filled" | "levelGrams";
  readonly roughness: number;
  readonly sack: number | null; // grams that are poured each time; null: up to the brim
  readonly hasRefillButton: boolean; // on the feeder
  readonly hasLidSwitch: boolean;
  readonly neighbourEvery: number | null;
}

const drawWays = (chance: Chance, capacity: number): Ways => ({
  looks: chance.pick([[8], [19], [7.5, 18], [12, 20], [7, 13, 21]]),
  sees: chance.between(0.5, 0.98),
  delay: chance.factorBetween(0.3, 16) * hour,
  roundEvery: chance.between(4, 14) * day,
  topsUpBelow: chance.pick([0, 0.3, 0.6, 0.85]),
  exact: chance.between(0.35, 0.95),
  measures: chance.pick(["grams", "grams", "filled", "levelGrams"]),
  roughness: chance.factorBetween(0.01, 0.25),
  sack: chance.happens(0.35) ? capacity * chance.between(0.25, 0.7) : null,
  hasRefillButton: chance.happens(0.15),
  hasLidSwitch: chance.happens(0.25),
  neighbourEvery: chance.happens(0.35) ? chance.factorBetween(12, 90) * day : null,
});

/** Who looks after the feeder, and a neighbour who means well. */
export class Keeper {
  readonly #parts: Parts;
  readonly #program: Program;
  readonly #phone: KeeperPhone;
  readonly #enter: (act: LoggedAct) => void;
  readonly #chance: Chance;
  readonly #ways: Ways;
  #isComing = false;

  constructor(parts: Parts, program: Program, phone: KeeperPhone, enter: (act: LoggedAct) => void) {
    this.#parts = parts;
    this.#program = program;
    this.#phone = phone;
    this.#enter = enter;
    this.#chance = parts.chance("keeper");
    this.#ways = drawWays(this.#chance, parts.silo.capacity);
  }

  /** Before the story: the first fill; nearly all enter it. */
  fillFirst(): void {
    const { account, silo, belt, weather, agenda } = this.#parts;
    account.pour(silo.capacity * this.#chance.between(0.5, 1));
    belt.prime(weather.at(agenda.now));
    const levelGrams = Math.round(silo.content * this.#chance.spread(0.05));
    if (this.#chance.happens(0.88)) agenda.in(3 * minute, () => this.#enter({ refill: { levelGrams } }));
  }

  begin(): void {
    for (const at of this.#ways.looks) this.#planLook(at);
    this.#planRound();
    this.#planNeighbour();
  }

  get #pours(): boolean {
    return this.#parts.story.refills === "whenAsked" && !this.#parts.planted.is("foodOut");
  }

  #planLook(atHour: number): void {
    const { agenda, place } = this.#parts;
    const wait = (atHour - hourOfDay(agenda.now, place) + 24) % 24;
    agenda.in((wait < 1 ? wait + 24 : wait) * hour + this.#chance.between(-0.5, 0.5) * hour, () => {
      if (this.#chance.happens(this.#ways.sees)) this.#look();
      this.#planLook(atHour);
    });
  }

  #look(): void {
    const { agenda } = this.#parts;
    if (!this.#phone.asksForFood || this.#isComing || !this.#pours) return;
    this.#isComing = true;
    const delay = Math.min(40 * hour, this.#ways.delay * this.#chance.spread(0.6));
    agenda.at(this.#awake(agenda.now + delay), () => {
      this.#isComing = false;
      this.#visit(1);
    });
  }

  #planRound(): void {
    const { agenda } = this.#parts;
    agenda.at(this.#awake(agenda.now + this.#ways.roundEvery * this.#chance.between(0.7, 1.4)), () => {
      this.#visit(this.#ways.topsUpBelow);
      this.#planRound();
    });
  }

  /** Pours a cup or a bag, tells nobody and touches nothing else. */
  #planNeighbour(): void {
    const { agenda, account } = this.#parts;
    const { neighbourEvery } = this.#ways;
    if (neighbourEvery === null) return;
    agenda.at(this.#awake(agenda.now + this.#chance.wait(neighbourEvery)), () => {
      const grams = this.#chance.factorBetween(60, 700);
      if (this.#pours) account.pour(grams);
      this.#planNeighbour();
    });
  }

  #awake(at: number): number {
    const ofDay = hourOfDay(at, this.#parts.place);
    return ofDay >= 7 && ofDay < 21.5 ? at : at + ((31.5 - ofDay) % 24) * hour + this.#chance.between(0, 1.5) * hour;
  }

  /** @param poursBelow pours where the hopper is less full than that */
  #visit(poursBelow: number): void {
    const { agenda, hands, supply, silo } = this.#parts;
    const chance = this.#chance;
    const stay = chance.between(2, 12) * minute;
    hands.grams = chance.between(-600, 1_800);
    this.#lid(true);
    const takesOff = chance.happens(0.15);
    if (takesOff) hands.isHopperOff = true;
    agenda.in(stay, () => {
      [hands.grams, hands.isHopperOff] = [0, false];
      if (takesOff) this.#parts.cell.reseat();
      this.#lid(false);
    });
    if (chance.happens(0.7)) this.#parts.cell.sweepRoof();
    if (supply.needsCharge) supply.charge();
    if (chance.happens(0.05)) this.#program.restart(chance.between(0.2, 2) * minute);
    if (this.#pours && silo.content < poursBelow * silo.capacity) agenda.in(0.5 * stay, () => this.#refill());
    if (chance.happens(0.3)) this.#clean(stay);
    for (let tests = chance.pick([0, 0, 1, 2]); tests > 0; tests -= 1)
      agenda.in(stay + tests * 25_000, () => this.#program.giveByHand());
  }

  #clean(stay: number): void {
    const { agenda, counter } = this.#parts;
    counter.clean();
    if (this.#chance.happens(0.7)) agenda.in(stay + 8 * minute, () => this.#enter({ cleaned: {} }));
  }

  #lid(open: boolean): void {
    const { board, agenda } = this.#parts;
    if (this.#ways.hasLidSwitch && board.isOn) board.record("lid", agenda.now, { open });
  }

  #refill(): void {
    const { silo, account, belt } = this.#parts;
    const chance = this.#chance;
    const room = silo.capacity - silo.content;
    if (room < 0.1 * silo.capacity) {
      // The phone is wrong; some tell it what they see.
      if (chance.happens(0.4)) this.#enter({ refill: { levelGrams: Math.round(silo.content * chance.spread(0.15)) } });
      return;
    }
    const poured = account.pour(this.#ways.sack ?? room * chance.between(0.8, 1));
    if (poured < belt.portionGrams) return;
    this.#tellOf(poured);
  }

  #tellOf(poured: number): void {
    const { agenda, board } = this.#parts;
    const chance = this.#chance;
    const told = this.#told(poured);
    const pouredAt = agenda.now;
    const soon = chance.between(1, 40) * minute;
    const late = chance.between(0.4, 1.8) * day;
    const manner = this.#manner();
    if (manner === "byFeeder" && board.isOn) board.record("refill", pouredAt, this.#button(poured));
    if (manner === "atOnce" || manner === "twice") agenda.in(soon, () => this.#enter({ refill: told }));
    if (manner === "twice")
      agenda.in(soon + chance.factorBetween(1, 400) * minute, () => this.#enter({ refill: told }));
    if (manner === "lateAsIfNow") agenda.in(late, () => this.#enter({ refill: told }));
    if (manner === "lateWithTime")
      agenda.in(late, () => this.#enter({ refill: { ...told, at: isoOf(instant(pouredAt)) } }));
    if (manner === "wrong")
      agenda.in(soon, () => this.#enter({ refill: wrong(told, chance.pick([0.3, 0.5, 1.5, 2])) }));
  }

  #button(poured: number): object {
    return this.#ways.sack === null ? { full: true } : { grams: Math.round(poured) };
  }

  #told(poured: number): Told {
    const { silo } = this.#parts;
    const rough = (grams: number) =>
      Math.max(10, Math.round((grams * this.#chance.spread(this.#ways.roughness)) / 10) * 10);
    if (this.#ways.measures === "filled" && this.#ways.sack === null) return { filled: true };
    return this.#ways.measures === "levelGrams" ? { levelGrams: rough(silo.content) } : { grams: rough(poured) };
  }

  #manner(): Manner {
    const chance = this.#chance;
    if (this.#ways.hasRefillButton && chance.happens(0.8)) return "byFeeder";
    if (chance.happens(this.#ways.exact)) return "atOnce";
    return chance.pick(["lateAsIfNow", "lateWithTime", "twice", "wrong", "never", "never"] as const);
  }
}

/** Who says "filled" can't be wrong by a factor. */
function wrong(told: Told, factor: number): Told {
  const scaled = (grams: number) => Math.max(10, Math.round(grams * factor));
  if (told.grams !== undefined) return { grams: scaled(told.grams) };
  return told.levelGrams === undefined ? told : { levelGrams: scaled(told.levelGrams) };
}
