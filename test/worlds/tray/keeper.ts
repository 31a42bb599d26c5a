import { instant, isoOf } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Beam } from "./beam.ts";
import type { Birds } from "./birds.ts";
import type { Drive } from "./drive.ts";
import type { Hopper } from "./hopper.ts";
import type { Ledger } from "./ledger.ts";
import type { PlantedFault } from "./plantedFault.ts";
import type { Program } from "./program.ts";
import type { Random } from "./random.ts";
import { feederName } from "./reporter.ts";
import type { Scale } from "./scale.ts";
import { day, hour, localHour, minute } from "./time.ts";
import type { Wires } from "./wires.ts";

export interface KeeperParts {
  readonly agenda: Agenda;
  readonly phone: KeeperPhone;
  readonly fault: PlantedFault;
  readonly hopper: Hopper;
  readonly beam: Beam;
  readonly scale: Scale;
  readonly drive: Drive;
  readonly wires: Wires;
  readonly birds: Birds;
  readonly program: Program;
  readonly ledger: Ledger;
  readonly hear: (line: LogLine) => void;
}

type Act = Extract<LogLine, { kind: "keeper" }>["act"];
type Telling = "untold" | "dayLate" | "twice" | "wrong" | "withItsTime" | "right";
type RefillAct = NonNullable<Act["refill"]>;

/** A person: looks at the phone now and then, refills some hours later, tells most of it, and looks after the feeder in between. */
export class Keeper {
  private readonly random: Random;
  private readonly story: Story;
  private readonly parts: KeeperParts;
  private readonly build;
  private isGoing = false;
  private handsUntil = 0;

  constructor(random: Random, story: Story, parts: KeeperParts, begin: number) {
    this.random = random;
    this.story = story;
    this.parts = parts;
    this.build = {
      lookSpan: random.logBetween(1.5, 14) * hour,
      delay: random.logBetween(1, 20) * hour,
      heeds: random.between(0.6, 1),
      fillsUp: random.between(0.3, 1),
      scoop: random.between(0.3, 0.8) * parts.hopper.size.capacity,
      careSpan: random.logBetween(3, 20) * day,
      topsUp: random.between(0, 0.5),
      untold: random.between(0, 0.1),
      late: random.between(0, 0.1),
      twice: random.between(0, 0.06),
      wrong: random.between(0, 0.1),
      weighs: random.pick([1, 10, 50, 100]), // grams to which the told mass is rounded
    };
    this.fillFirst(begin);
    this.planLook(begin);
    this.planCare(begin);
  }

  handGrams = (at: number): number => (at < this.handsUntil ? this.random.normal(0, 180) : 0);

  private fillFirst(begin: number): void {
    const { random } = this;
    const { hopper } = this.parts;
    const mass = hopper.size.capacity * random.between(0.5, 1);
    hopper.refill(mass, begin);
    if (random.chance(0.9)) this.say(begin + random.between(1, 20) * minute, { refill: { grams: this.rounded(mass) } });
  }

  private planLook(from: number): void {
    this.parts.agenda.add(from + this.random.exponential(this.build.lookSpan), (at) => {
      const isAwake = localHour(at) > 6.5 && localHour(at) < 22.5;
      if (isAwake && this.parts.phone.asksForFood && !this.isGoing && this.random.chance(this.build.heeds)) {
        this.isGoing = true;
        this.parts.agenda.add(daytime(at + this.random.exponential(this.build.delay)), (now) => {
          this.isGoing = false;
          this.refill(now);
        });
      }
      this.planLook(at);
    });
  }

  private planCare(from: number): void {
    const { random, build } = this;
    this.parts.agenda.add(daytime(from + random.exponential(build.careSpan)), (at) => {
      const { beam, drive, wires, scale, hopper, program } = this.parts;
      this.stay(at, random.between(3, 25) * minute);
      if (random.chance(0.5)) {
        beam.clean();
        hopper.sweepTray();
        if (random.chance(0.75)) this.say(at + random.between(1, 40) * minute, { cleaned: {} });
      }
      if (random.chance(0.4)) drive.tighten();
      if (random.chance(0.5)) wires.pushIn();
      if (random.chance(0.5)) scale.wipeLid();
      if (random.chance(0.3)) program.runByHand(at + random.between(2, 5) * minute);
      if (random.chance(0.12)) this.takeOff(at);
      if (random.chance(build.topsUp)) this.refill(at);
      this.planCare(at);
    });
  }

  private takeOff(at: number): void {
    const { hopper, agenda } = this.parts;
    hopper.isOff = true;
    const span = this.random.between(4, 30) * minute;
    this.stay(at, span);
    agenda.add(at + span, () => {
      hopper.isOff = false;
    });
  }

  private stay(at: number, span: number): void {
    this.handsUntil = Math.max(this.handsUntil, at + Math.min(span, 6 * minute));
    this.parts.birds.scare(at + span + this.random.between(2, 20) * minute);
  }

  private refill(at: number): void {
    const { fault, hopper, ledger } = this.parts;
    if (this.story.refills === "never" || fault.is("foodOut", at)) return;
    const fillsUp = this.random.chance(this.build.fillsUp);
    const mass = Math.min(hopper.room(), fillsUp ? hopper.room() : this.build.scoop);
    if (mass < 20) return;
    hopper.refill(mass, at);
    ledger.enterRefill();
    this.stay(at, this.random.between(2, 10) * minute);
    this.tell(at, mass, fillsUp || mass >= hopper.room());
  }

  private tell(at: number, mass: number, isFull: boolean): void {
    const { random } = this;
    const soon = at + random.logBetween(0.3, 40) * minute;
    const refill = this.refillOf(mass, isFull);
    switch (this.wayOfTelling()) {
      case "untold":
        break;
      case "dayLate": // as if it had been now
        this.say(at + random.between(0.6, 1.6) * day, { refill });
        break;
      case "twice":
        this.say(soon, { refill });
        this.say(soon + random.logBetween(0.3, 400) * minute, { refill });
        break;
      case "wrong": {
        const share = random.chance(0.5) ? random.between(0.35, 0.75) : random.between(1.3, 2);
        this.say(soon, { refill: { grams: this.rounded(mass * share) } });
        break;
      }
      case "withItsTime":
        this.say(soon + random.logBetween(1, 20) * hour, {
          refill: { ...refill, at: isoOf(instant(Math.floor(at))) },
        });
        break;
      case "right":
        this.say(soon, { refill });
    }
  }

  private wayOfTelling(): Telling {
    const { untold, late, twice, wrong } = this.build;
    const shares: readonly (readonly [Telling, number])[] = [
      ["untold", untold],
      ["dayLate", late],
      ["twice", twice],
      ["wrong", wrong],
      ["withItsTime", 0.1],
    ];
    let share = this.random.unit();
    for (const [way, each] of shares) {
      share -= each;
      if (share < 0) return way;
    }
    return "right";
  }

  private refillOf(mass: number, isFull: boolean): RefillAct {
    const { hopper } = this.parts;
    const form = this.random.unit();
    if (isFull && form < 0.4) return { filled: true };
    if (form > 0.9) return { levelGrams: this.rounded(hopper.grams() * this.random.between(0.9, 1.1)) };
    return { grams: this.rounded(mass * this.random.between(0.97, 1.03)) };
  }

  private rounded = (mass: number): number =>
    Math.max(1, Math.round(Math.round(mass / this.build.weighs) * this.build.weighs));

  private say(at: number, act: Act): void {
    this.parts.agenda.add(at, (now) => {
      this.parts.hear({ feeder: feederName, at: instant(now), kind: "keeper", act: { by: "keeper", ...act } });
    });
  }
}

/** By day only: people do such things between seven and seven. */
function daytime(at: number): number {
  const now = localHour(at);
  if (now < 7) return at + (7.2 - now) * hour;
  return now > 19 ? at + (31.5 - now) * hour : at;
}
