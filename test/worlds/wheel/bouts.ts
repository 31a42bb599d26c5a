import type { WorldSensors } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Birds } from "./birds.ts";
import type { PlantedFault } from "./fault.ts";
import type { Ledger } from "./ledger.ts";
import type { Program } from "./program.ts";
import type { Random } from "./random.ts";
import type { Place } from "./sun.ts";
import { day, minute, second } from "./time.ts";
import type { Weather } from "./weather.ts";

/**
 * What birds do at the feeder in one coming (a bout): they land, press the button or bring caps, look whether food falls, eat or carry
 * it away, and give up after some tries for nothing. Corvids that hide food come again and again for more (magpies carry it some metres and
 * hide it in snow: Hendricks, Northwestern Naturalist 101, 2020). How often: common practice, no source.
 */
export interface BoutParts {
  readonly agenda: Agenda;
  readonly birds: Birds;
  readonly program: Program;
  readonly ledger: Ledger;
  readonly fault: PlantedFault;
  readonly weather: Weather;
  readonly place: Place;
  readonly sensors: WorldSensors;
  readonly touching: { birds: number };
}

interface Bout {
  tries: number; // left
  failures: number; // in a row
  readonly patience: number;
  readonly caches: boolean;
  readonly endsAt: number;
  readonly birds: number;
  hasTried: boolean;
  wasFed: boolean;
}

export class Bouts {
  private readonly random: Random;
  private readonly parts: BoutParts;
  private readonly triesPerBout: number;
  private readonly cachingShare: number;
  private readonly depositShare: number; // of the tries, where there are both button and detector
  private readonly litterShare: number; // of what they bring: not metal
  private readonly landingSeen: number; // by the perch sensor
  private readonly contactMade: number; // by a press
  private readonly contactBounces: number;
  private readonly metalFound: number;

  constructor(random: Random, parts: BoutParts) {
    this.random = random;
    this.parts = parts;
    this.triesPerBout = random.logBetween(0.5, 6);
    this.cachingShare = random.between(0.05, 0.3);
    this.depositShare = random.logBetween(0.05, 0.6);
    this.litterShare = random.between(0.02, 0.25);
    this.landingSeen = random.between(0.6, 0.98);
    this.contactMade = random.between(0.9, 1);
    this.contactBounces = random.chance(0.4) ? random.between(0.005, 0.04) : 0;
    this.metalFound = random.between(0.9, 0.995);
    this.planDay();
  }

  private planDay(): void {
    const { agenda, birds, weather, place, program } = this.parts;
    if (!this.canAsk && agenda.now - program.fedAt > day) birds.findNothing();
    for (const at of birds.arrivals(agenda.now, weather.at(agenda.now), place.longitudeDegrees)) {
      agenda.plan(at, () => this.begin());
    }
    agenda.in(day, () => this.planDay());
  }

  private begin(): void {
    const { agenda, birds, ledger, touching, program } = this.parts;
    const { random } = this;
    const caches = random.chance(this.cachingShare);
    const length = 4 * minute * random.factor(0.8) * (caches ? 2.5 : 1);
    const bout: Bout = {
      tries: this.drawTries(caches),
      failures: 0,
      patience: random.whole(1, 5),
      caches,
      endsAt: agenda.now + Math.min(60 * minute, length),
      birds: random.whole(1, birds.groupMax),
      hasTried: false,
      wasFed: !this.canAsk && agenda.now - program.fedAt < 2 * 60 * minute,
    };
    ledger.bouts += 1;
    touching.birds += bout.birds * birds.grams;
    this.planLandings(bout);
    agenda.in(random.between(2, 30) * second, () => this.tryForFood(bout));
  }

  private get canAsk(): boolean {
    return this.parts.sensors.button || this.parts.sensors.detector;
  }

  private drawTries(caches: boolean): number {
    if (!this.canAsk) return 0;
    if (!caches) return this.random.poisson(this.triesPerBout);
    return this.parts.sensors.button ? this.random.whole(8, 40) : this.random.whole(3, 8);
  }

  private planLandings({ birds, endsAt }: Bout): void {
    const { agenda } = this.parts;
    for (let landing = this.random.poisson(1.5 * birds); landing >= 0; landing -= 1) {
      const at = landing === 0 ? agenda.now : this.random.between(agenda.now, endsAt);
      agenda.plan(at, () => this.land());
    }
  }

  private land(): void {
    const { fault, program, weather, agenda } = this.parts;
    if (fault.active === "perchDead") return;
    const iced = Math.exp(-0.4 * weather.at(agenda.now).glaze);
    if (this.random.chance(this.landingSeen * iced)) program.land();
  }

  private tryForFood(bout: Bout): void {
    const { agenda } = this.parts;
    if (bout.tries <= 0 || bout.failures > bout.patience || (agenda.now > bout.endsAt && !bout.caches)) {
      this.end(bout);
      return;
    }
    bout.tries -= 1;
    bout.hasTried = true;
    const triedAt = agenda.now;
    this.ask();
    agenda.in(this.random.between(3, 8) * second, () => this.lookForFood(bout, triedAt));
  }

  private lookForFood(bout: Bout, triedAt: number): void {
    const { agenda, program } = this.parts;
    const { random } = this;
    const isFed = program.fedAt >= triedAt;
    bout.failures = isFed ? 0 : bout.failures + 1;
    bout.wasFed ||= isFed;
    const away = bout.caches ? random.between(10, 90) : 8 + random.exponential(25);
    const pause = isFed ? away : random.between(1, 10);
    agenda.in(pause * second, () => this.tryForFood(bout));
  }

  private end(bout: Bout): void {
    const { agenda, birds, touching } = this.parts;
    agenda.plan(bout.endsAt, () => {
      touching.birds = Math.max(0, touching.birds - bout.birds * birds.grams);
      birds.learn(bout.hasTried, bout.wasFed);
    });
  }

  private ask(): void {
    const { button, detector } = this.parts.sensors;
    if (detector && (!button || this.random.chance(this.depositShare))) this.bringCap();
    else this.press();
  }

  private press(): void {
    const { fault, program, agenda } = this.parts;
    if (fault.active === "buttonDead" || !this.random.chance(this.contactMade)) return;
    program.press();
    if (this.random.chance(this.contactBounces)) agenda.in(this.random.between(60, 250), () => program.press());
  }

  private bringCap(): void {
    const { fault, program } = this.parts;
    const isMetal = !this.random.chance(this.litterShare);
    const isDeaf = fault.active === "detectorDeaf";
    const isFound = !isDeaf && this.random.chance(isMetal ? this.metalFound : 0.005);
    program.deposit(isFound, isFound ? this.random.between(0.35, 1) : this.random.between(0, 0.15));
  }
}
