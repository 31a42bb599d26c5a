import type { Agenda } from "./agenda.ts";
import type { PeckOutcome } from "./feeder.ts";
import { perchSpan } from "./lidLoads.ts";
import { clamp } from "./numbers.ts";
import type { Random } from "./random.ts";
import type { Daylight } from "./sun.ts";
import { day, hour, minute, second } from "./time.ts";
import type { WeatherHour } from "./weather.ts";

/** What the birds can do at the feeder. */
export interface FeederForBirds {
  readonly hasButton: boolean;
  readonly hasSlot: boolean;
  come(at: number): void;
  land(at: number): void;
  peck(at: number): PeckOutcome;
  drop(at: number, isMetal: boolean): void;
  sitOnLid(at: number, until: number, grams: number): void;
}

/**
 * A flock whose comings bring more comings: a Hawkes process, drawn as its clusters (Hawkes and Oakes, Journal of Applied Probability
 * 11, 1974). The first ones of each cluster follow the sun: most in the two hours after it rises, some before it sets.
 */
export class Flock {
  readonly traits: FlockTraits;
  readonly #random: Random;
  readonly #agenda: Agenda;
  readonly #feeder: FeederForBirds;
  #size = 0; // logarithm, by the usual flock
  #mood = 1; // birds that find nothing come less
  #isAway = false;

  constructor(random: Random, agenda: Agenda, feeder: FeederForBirds) {
    this.#random = random;
    this.#agenda = agenda;
    this.#feeder = feeder;
    this.traits = drawTraits(random);
    this.#size = this.traits.sizeSpread * random.normal();
  }

  /** Portions that such a flock asks for on a usual day. */
  get portionsPerDay(): number {
    const { comings, presses, wants, deposits } = this.traits;
    const pressed = this.#feeder.hasButton ? presses * wants : 0;
    return comings * (pressed + (this.#feeder.hasSlot ? deposits : 0));
  }

  planDay(daylight: Daylight, weather: WeatherHour, foundFood: boolean): void {
    const { sizeSpread, sizeTime, awayRate, branching, comings } = this.traits;
    const random = this.#random;
    const step = day / sizeTime;
    this.#size += -step * this.#size + sizeSpread * Math.sqrt(2 * step) * random.normal();
    this.#mood = clamp(this.#mood * (foundFood ? 1.25 : 0.8), 0.05, 1);
    this.#isAway = random.chance(this.#isAway ? 0.3 : awayRate);
    const cold = clamp(1.2 - 0.02 * weather.celsius, 0.7, 1.5); // hungry in frost, elsewhere in summer
    const usual = comings * Math.exp(this.#size) * this.#mood * cold * (weather.rainMm > 0.5 ? 0.6 : 1);
    const firsts = this.#isAway ? 0 : random.poisson(Math.min(usual, 500) * (1 - branching));
    const hawk = this.#drawHawk(daylight);
    for (let index = 0; index < firsts; index += 1) this.#plan(this.#firstComing(daylight), daylight, hawk);
  }

  #plan(at: number, daylight: Daylight, hawk: Hawk): void {
    if (at < daylight.sunrise - hour / 2 || at > daylight.sunset + hour / 4) return;
    if (at < hawk.from || at > hawk.until) this.#agenda.add(Math.round(at), (now) => this.#come(now));
    const followers = this.#random.poisson(this.traits.branching);
    for (let index = 0; index < followers; index += 1) {
      this.#plan(at + this.#random.exponential(this.traits.excitement), daylight, hawk);
    }
  }

  #firstComing({ sunrise, sunset }: Daylight): number {
    const random = this.#random;
    const share = random.uniform();
    const { morning, evening } = this.traits;
    if (share < morning) return sunrise - 0.3 * hour + random.exponential(0.6 * hour) + random.exponential(0.6 * hour);
    if (share < morning + evening) return sunset - 1.2 * hour + 0.5 * hour * random.normal();
    return random.between(sunrise, sunset);
  }

  /** A hawk ends the day, or keeps them away for some hours. */
  #drawHawk({ sunrise, sunset }: Daylight): Hawk {
    const random = this.#random;
    const comes = random.chance(this.traits.hawkRate);
    const from = random.between(sunrise, sunset);
    const until = random.chance(0.6) ? sunset + hour : from + random.between(0.5, 3) * hour;
    return comes ? { from, until } : { from: Number.POSITIVE_INFINITY, until: 0 };
  }

  #come(at: number): void {
    const random = this.#random;
    const { presses, deposits, junk, onLid, birdGrams, wants } = this.traits;
    this.#feeder.come(at);
    const landings = 1 + random.poisson(0.4);
    for (let index = 0; index < landings; index += 1) this.#later(at, 8 * index, 12, (now) => this.#feeder.land(now));
    if (random.chance(onLid)) this.#feeder.sitOnLid(at, at + perchSpan(random), birdGrams * random.between(0.7, 1.3));
    const portions = random.chance(presses) ? 1 + random.poisson(wants - 1) : 0;
    const brings = random.chance(deposits);
    const isMetal = !random.chance(junk);
    if (this.#feeder.hasButton && portions > 0) this.#later(at, 2, 10, (now) => this.#press(now, portions, 0));
    if (this.#feeder.hasSlot && brings) this.#later(at, 3, 20, (now) => this.#feeder.drop(now, isMetal));
  }

  /** It pecks until the button answers, and once more where no food came; then it leaves. */
  #press(at: number, portions: number, vain: number): void {
    const outcome = this.#feeder.peck(at);
    const { patience } = this.traits;
    if (outcome === "fed") {
      if (portions > 1) this.#later(at, 4, 30, (now) => this.#press(now, portions - 1, 0));
      return;
    }
    if (vain + 1 >= patience) return;
    if (outcome === "notFelt") this.#later(at, 0.4, 1.5, (now) => this.#press(now, portions, vain + 1));
    else if (this.#random.chance(0.6)) this.#later(at, 2, 7, (now) => this.#press(now, portions, vain + 1));
  }

  #later(at: number, low: number, high: number, happen: (now: number) => void): void {
    this.#agenda.add(Math.round(at + this.#random.between(low, low + high) * second), happen);
  }
}

interface Hawk {
  readonly from: number;
  readonly until: number;
}

interface FlockTraits {
  readonly comings: number; // on a usual day
  readonly branching: number; // followers of each coming, directly
  readonly excitement: number; // mean time until a follower comes
  readonly morning: number;
  readonly evening: number;
  readonly sizeSpread: number;
  readonly sizeTime: number;
  readonly awayRate: number;
  readonly hawkRate: number;
  readonly presses: number; // chance at a coming
  readonly wants: number; // mean portions then
  readonly patience: number;
  readonly deposits: number; // chance at a coming
  readonly junk: number; // share of the deposits that is no metal
  readonly onLid: number;
  readonly birdGrams: number;
}

/** Common practice, no source: yards differ so much that the ranges are wide. */
const drawTraits = (random: Random): FlockTraits => ({
  comings: random.logBetween(12, 160),
  branching: random.between(0.25, 0.7),
  excitement: random.logBetween(2, 15) * minute,
  morning: random.between(0.25, 0.55),
  evening: random.between(0.08, 0.25),
  sizeSpread: random.between(0.15, 0.5),
  sizeTime: random.between(8, 30) * day,
  awayRate: random.logBetween(0.004, 0.06),
  hawkRate: random.logBetween(0.005, 0.07),
  presses: random.between(0.3, 0.9),
  wants: random.between(1, 2.2),
  patience: random.whole(3, 6),
  deposits: random.logBetween(0.03, 0.4),
  junk: random.between(0.02, 0.2),
  onLid: random.between(0.05, 0.4),
  birdGrams: random.pick([18, 28, 80, 165, 210, 500]), // tits, sparrows, starlings, jays, magpies, crows: from memory
});
