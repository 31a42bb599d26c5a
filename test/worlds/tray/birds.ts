import type { Agenda } from "./agenda.ts";
import type { Random } from "./random.ts";
import { daylightOf } from "./sun.ts";
import { day, hour, localMidnight, minute, second, yearShare } from "./time.ts";
import type { Sky } from "./weather.ts";

/** What a guest does at the feeder. */
export interface Doings {
  land(at: number): void;
  press(at: number): void;
  deposit(at: number, isCap: boolean): void;
}

interface Guests {
  readonly until: number;
  readonly count: number;
  readonly grams: number;
}

export interface BirdSize {
  readonly actsDaily: number; // presses and deposits that would each earn a portion
  readonly presses: boolean;
  readonly deposits: boolean;
}

/**
 * Corvids come in bouts: the first about sunrise, each may draw others after it (a self-exciting process, Hawkes 1971). A pair
 * breeds from late winter to early summer and keeps others away; families beg at the turn of the year; autumn and winter bring
 * flocks. In the heat of the day they sit in the shade. At night a possum may climb about. Habits from memory.
 */
export class Birds {
  bouts = 0;
  private readonly random: Random;
  private readonly agenda: Agenda;
  private readonly doings: Doings;
  private readonly sky: Sky;
  private readonly build;
  private present: Guests[] = [];
  private mood = 0; // of the week
  private shyUntil = 0; // a hawk, or people

  constructor(random: Random, agenda: Agenda, doings: Doings, size: BirdSize, sky: Sky) {
    this.random = random;
    this.agenda = agenda;
    this.doings = doings;
    this.sky = sky;
    const boutsDaily = Math.min(45, Math.max(4, size.actsDaily / random.logBetween(1, 6)));
    const depositShare = size.deposits ? (size.presses ? random.between(0.1, 0.8) : 1) : 0;
    const acts = size.presses || size.deposits ? size.actsDaily / boutsDaily : 0;
    this.build = {
      boutsDaily,
      following: random.between(0.2, 0.6),
      followSpan: random.between(5, 25) * minute,
      flock: random.between(1.2, 3.5),
      presses: acts * (1 - depositShare),
      deposits: acts * depositShare,
      capShare: random.between(0.6, 0.97),
      landings: random.between(0.7, 3),
      birdGrams: random.between(250, 680),
      heatFrom: random.between(31, 37),
      noBirdDays: random.between(0.005, 0.06),
      hawkDaily: random.logBetween(0.02, 0.4),
      possumNightly: random.pick([0, 0, random.logBetween(0.03, 0.5)]),
      seasonal: random.between(0.1, 0.45),
    };
  }

  planDay(ofDay: number, from: number): void {
    const { build, random } = this;
    this.mood = 0.9 * this.mood + random.normal(0, 0.13);
    this.planPossum(ofDay, from);
    if (random.chance(build.noBirdDays)) return;
    const { sunrise, sunset } = daylightOf(ofDay);
    const mean = build.boutsDaily * this.season(ofDay) * Math.exp(this.mood) * (1 - build.following);
    const add = (at: number) => {
      if (at < from || at > sunset + 15 * minute) return;
      this.agenda.add(at, (now) => this.arrive(now, ofDay));
      for (let more = random.poisson(build.following); more > 0; more -= 1)
        add(at + random.exponential(build.followSpan));
    };
    add(sunrise + random.normal(-8, 13) * minute);
    for (let count = random.poisson(mean); count > 0; count -= 1) {
      const part = random.unit();
      if (part < 0.45) add(sunrise - 20 * minute + random.exponential(2 * hour));
      else if (part < 0.8) add(random.between(sunrise, sunset));
      else add(sunset - random.exponential(1.4 * hour));
    }
    if (random.chance(build.hawkDaily)) {
      this.agenda.add(random.between(sunrise, sunset), (at) => this.scare(at + random.logBetween(0.2, 3) * hour));
    }
  }

  scare(until: number): void {
    this.shyUntil = Math.max(this.shyUntil, until);
    this.present = [];
  }

  /** Of those that sit on the lid just now. */
  gramsOnLid(at: number): number {
    if (this.present.length === 0) return 0;
    this.present = this.present.filter(({ until }) => until > at);
    const sitting = ({ count, grams }: Guests) => Math.round(count * this.random.unit() ** 2) * grams;
    return this.present.reduce((sum, guests) => sum + sitting(guests), 0);
  }

  private season(ofDay: number): number {
    // Most in late autumn, least while a pair breeds in spring.
    return 1 + this.build.seasonal * Math.cos(2 * Math.PI * (yearShare(ofDay) - 0.38));
  }

  private arrive(at: number, ofDay: number): void {
    const { build, random, sky } = this;
    const heat = Math.max(0, (sky.air - build.heatFrom) / 8);
    const isWet = sky.rain > 3;
    if (at < this.shyUntil || random.chance(heat) || (isWet && random.chance(0.6))) return;
    this.bouts += 1;
    const count = 1 + random.poisson(Math.max(0, build.flock * this.season(ofDay) - 1));
    const span = random.logBetween(40 * second, 12 * minute);
    this.present.push({ until: at + span, count, grams: build.birdGrams });
    this.act(at, span, count * build.landings, (now) => this.doings.land(now));
    const share = (count / build.flock) ** 0.7;
    this.act(at, span, build.presses * share, (now) => this.doings.press(now));
    this.act(at, span, build.deposits * share, (now) => this.doings.deposit(now, random.chance(build.capShare)));
  }

  /** Some at once after each other, the rest spread over the bout. */
  private act(from: number, span: number, mean: number, does: (at: number) => void): void {
    let at = from + this.random.between(0, span);
    for (let count = this.random.poisson(mean); count > 0; count -= 1) {
      this.agenda.add(at, (now) => {
        if (now >= this.shyUntil) does(now);
      });
      at = this.random.chance(0.4) ? at + this.random.between(0.4, 8) * second : from + this.random.between(0, span);
    }
  }

  private planPossum(ofDay: number, from: number): void {
    const { random } = this;
    if (!random.chance(this.build.possumNightly)) return;
    const at = localMidnight(ofDay) + random.between(-3, 4) * hour + day;
    this.agenda.add(Math.max(from, at), (now) => {
      const span = random.between(1, 20) * minute;
      this.present.push({ until: now + span, count: 1, grams: random.between(1200, 3200) });
      this.act(now, span, 3, (each) => this.doings.land(each));
      this.act(now, span, 0.15, (each) => this.doings.press(each));
    });
  }
}
