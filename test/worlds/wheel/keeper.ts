import type { LoggedAct } from "../../../server/contract/feederLog.ts";
import { type Instant, instant, isoOf } from "../../../server/domain/instant.ts";
import type { KeeperPhone, Story } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { PlantedFault } from "./fault.ts";
import type { Hopper } from "./hopper.ts";
import type { Ledger } from "./ledger.ts";
import type { Program } from "./program.ts";
import type { Random } from "./random.ts";
import type { Supply } from "./supply.ts";
import { day, hour, minute, solarHour } from "./time.ts";

/**
 * The keeper looks at the phone twice a day or so, comes when it asks for food, and about once a week in any case to clean. What the
 * keeper tells the phone about a refill is as people are: at once, a day late, twice, wrong, or nothing. Shares: common practice, no source.
 */
export interface KeeperParts {
  readonly agenda: Agenda;
  readonly phone: KeeperPhone;
  readonly story: Story;
  readonly fault: PlantedFault;
  readonly hopper: Hopper;
  readonly ledger: Ledger;
  readonly program: Program;
  readonly supply: Supply;
  readonly longitudeDegrees: number;
  readonly touching: { hands: number };
  readonly enter: (act: LoggedAct) => void;
}

type Manner = "atOnce" | "lateAsIfNow" | "lateWithTime" | "twice" | "wrong" | "notAtAll";
type Told = NonNullable<LoggedAct["refill"]>;

export class Keeper {
  private readonly random: Random;
  private readonly parts: KeeperParts;
  private readonly lookShare: number;
  private readonly delayHours: number;
  private readonly roundDays: number;
  private readonly care: number; // share of refills that are told at once and right
  private readonly measures: "grams" | "filled" | "levelGrams";
  private readonly roughness: number; // of a stated mass
  private readonly bag: number | null; // grams that are poured in each time; null: up to the brim
  private isComing = false;

  constructor(random: Random, parts: KeeperParts) {
    this.random = random;
    this.parts = parts;
    this.lookShare = random.between(0.5, 0.98);
    this.delayHours = random.logBetween(0.5, 15);
    this.roundDays = random.between(5, 11);
    this.care = random.between(0.4, 0.95);
    this.measures = random.pick(["grams", "grams", "filled", "filled", "levelGrams"]);
    this.roughness = random.logBetween(0.02, 0.25);
    this.bag = random.chance(0.3) ? parts.hopper.capacity * random.between(0.3, 0.7) : null;
    this.planLook();
    this.planRound();
  }

  /** The first fill, before the story begins; most enter it. */
  fillFirst(): void {
    const { hopper, ledger } = this.parts;
    ledger.refill(hopper.capacity * this.random.between(0.45, 1));
    if (!this.random.chance(0.88)) return;
    const levelGrams = Math.round(hopper.total * this.random.factor(this.roughness));
    this.parts.agenda.in(2 * minute, () => this.tell({ levelGrams }));
  }

  private planLook(): void {
    const { agenda } = this.parts;
    agenda.in(this.hoursUntil(this.random.pick([7, 18])) * hour + this.random.between(-0.8, 0.8) * hour, () => {
      if (this.random.chance(this.lookShare)) this.look();
      this.planLook();
    });
  }

  /** At least two hours from now. */
  private hoursUntil(hourOfDay: number): number {
    const now = solarHour(this.parts.agenda.now, this.parts.longitudeDegrees);
    const hours = (hourOfDay - now + 24) % 24;
    return hours < 2 ? hours + 24 : hours;
  }

  private look(): void {
    const { phone, agenda } = this.parts;
    if (!phone.asksForFood || this.isComing || !this.refills) return;
    this.isComing = true;
    const delay = Math.min(40, this.delayHours * this.random.factor(0.7)) * hour;
    agenda.plan(this.awakeAt(agenda.now + delay), () => {
      this.isComing = false;
      this.visit(true);
    });
  }

  private get refills(): boolean {
    return this.parts.story.refills === "whenAsked" && this.parts.fault.active !== "foodOut";
  }

  private planRound(): void {
    const { agenda } = this.parts;
    const at = agenda.now + this.roundDays * day * this.random.between(0.7, 1.4);
    agenda.plan(this.awakeAt(at), () => {
      this.visit(this.parts.phone.asksForFood);
      this.planRound();
    });
  }

  /** Nobody goes out between nine in the evening and seven in the morning. */
  private awakeAt(at: number): number {
    const hourOfDay = solarHour(at, this.parts.longitudeDegrees);
    if (hourOfDay >= 7 && hourOfDay < 21) return at;
    return at + ((31 - hourOfDay) % 24) * hour + this.random.between(0, 2) * hour;
  }

  private visit(bringsFood: boolean): void {
    const { agenda, touching, supply, program } = this.parts;
    const { random } = this;
    const stay = random.between(2, 8) * minute;
    touching.hands = random.between(-1, 1) * 2_500; // presses on it or lifts the hopper
    agenda.in(stay, () => {
      touching.hands = 0;
    });
    if (random.chance(0.5)) supply.charge();
    if (random.chance(0.08)) program.restart(random.between(0.2, 2) * minute);
    if (bringsFood && this.refills) agenda.in(0.6 * stay, () => this.refill());
    if (random.chance(0.3)) agenda.in(stay + 10 * minute, () => this.parts.enter({ cleaned: {} }));
    for (let test = random.whole(0, 2); test > 0; test -= 1) {
      agenda.in(stay * random.between(0.7, 1), () => program.giveByHand());
    }
  }

  private refill(): void {
    const { hopper, ledger } = this.parts;
    const { random } = this;
    const room = hopper.capacity - hopper.total;
    if (room < 0.12 * hopper.capacity) {
      // There is food: the phone is wrong, and some tell it so.
      if (random.chance(0.5)) this.tell({ levelGrams: Math.round(hopper.total * random.factor(0.15)) });
      return;
    }
    const grams = Math.min(room, this.bag ?? room * random.between(0.8, 1));
    ledger.refill(grams);
    this.tellRefill(this.told(grams));
  }

  private told(grams: number): Told {
    const { hopper } = this.parts;
    const isRound = (mass: number) => Math.max(10, Math.round((mass * this.random.factor(this.roughness)) / 10) * 10);
    if (this.measures === "filled" && this.bag === null) return { filled: true };
    return this.measures === "levelGrams" ? { levelGrams: isRound(hopper.total) } : { grams: isRound(grams) };
  }

  private tellRefill(told: Told): void {
    const { agenda } = this.parts;
    const { random } = this;
    const soon = random.between(1, 30) * minute;
    const late = day * random.between(0.6, 1.6);
    const at = agenda.now;
    switch (this.manner()) {
      case "notAtAll":
        break;
      case "lateAsIfNow":
        agenda.in(late, () => this.tell(told));
        break;
      case "lateWithTime":
        agenda.in(late, () => this.tell(told, instant(at)));
        break;
      case "twice":
        agenda.in(soon, () => this.tell(told));
        agenda.in(soon + random.between(1, 300) * minute, () => this.tell(told));
        break;
      case "wrong":
        agenda.in(soon, () => this.tell(wrong(told, random.pick([0.4, 0.6, 1.5, 2]))));
        break;
      case "atOnce":
        agenda.in(soon, () => this.tell(told));
    }
  }

  private manner(): Manner {
    if (this.random.chance(this.care)) return "atOnce";
    return this.random.pick(["lateAsIfNow", "lateWithTime", "twice", "wrong", "wrong", "notAtAll", "notAtAll"]);
  }

  private tell(refill: Told, at: Instant | null = null): void {
    this.parts.enter({ refill: at === null ? refill : { ...refill, at: isoOf(at) } });
  }
}

/** "Filled" can't be wrong by a factor: a wrong one says a mass of what was poured. */
function wrong(told: Told, factor: number): Told {
  const scaled = (mass: number) => Math.max(10, Math.round(mass * factor));
  if (told.grams !== undefined) return { grams: scaled(told.grams) };
  if (told.levelGrams !== undefined) return { levelGrams: scaled(told.levelGrams) };
  return told;
}
