import { type Agenda, day, hour, minute, second } from "./agenda.ts";
import { dayBegin, type Place, yearShare } from "./place.ts";
import type { Weather } from "./sky.ts";
import type { Stream } from "./stream.ts";

export type BirdAct = "lands" | "presses" | "dropsCap" | "dropsOther";

/** How the birds of this place live. Ranges: what is told of crows, jackdaws and magpies at feeders; common practice, no source. */
interface Habits {
  readonly comingsPerDay: number; // that no other coming set off
  readonly drawsOthers: number; // further comings that one sets off, on average
  readonly othersWithin: number; // mean span until they come
  readonly morning: number; // share of comings in the hours after sunrise
  readonly evening: number; // share before sunset
  readonly more: number; // birds beside the first in one coming
  readonly presses: number; // by one bird in one coming
  readonly drops: number;
  readonly notCaps: number; // share of drops that are stones, twigs, bark
  readonly birdGrams: number;
  readonly standsOnLid: number; // share of comings with a bird on what the scale carries
  readonly awayDays: number; // share of days on which a spell of other food begins
  readonly awaySpell: number; // its mean length in days
  readonly hawksPerDay: number;
  readonly season: number; // how much more come in winter
}

function drawHabits(stream: Stream): Habits {
  return {
    comingsPerDay: stream.logUniform(3.5, 24),
    drawsOthers: stream.uniform(0.1, 0.65),
    othersWithin: stream.uniform(3, 25) * minute,
    morning: stream.uniform(0.25, 0.6),
    evening: stream.uniform(0.05, 0.3),
    more: stream.logUniform(0.15, 2.5),
    presses: stream.logUniform(0.5, 4),
    drops: stream.logUniform(0.1, 1.2),
    notCaps: stream.uniform(0.03, 0.45),
    birdGrams: stream.pick([190, 220, 240, 460, 520, 600, 900]),
    standsOnLid: stream.chance(0.4) ? 0 : stream.uniform(0.05, 0.6),
    awayDays: stream.logUniform(0.004, 0.04),
    awaySpell: stream.uniform(1, 3.5),
    hawksPerDay: stream.logUniform(0.01, 0.15),
    season: stream.uniform(-0.1, 0.5),
  };
}

/** Comings of birds: a self-exciting point process (Hawkes 1971) whose first points lie around sunrise and sunset. */
export class Flock {
  readonly #stream: Stream;
  readonly #habits: Habits;
  readonly #place: Place;
  readonly #weather: Weather;
  readonly #agenda: Agenda;
  readonly #act: (act: BirdAct, now: number) => void;
  bouts = 0;
  #awayFor: number; // days
  #scaredUntil = 0;
  #size = 1; // of the flock, over its usual size
  #fedLately = 0.5; // share of the last tries that brought food
  #fedUsually = 0.5;
  #standsUntil = 0;
  #standing = 0; // grams

  constructor(
    stream: Stream,
    place: Place,
    weather: Weather,
    agenda: Agenda,
    act: (act: BirdAct, now: number) => void,
  ) {
    this.#stream = stream;
    this.#habits = drawHabits(stream);
    this.#place = place;
    this.#weather = weather;
    this.#agenda = agenda;
    this.#act = act;
    this.#awayFor = stream.chance(0.1) ? stream.whole(1, 4) : 0; // some need days to find a new feeder
  }

  /** Rough number in a day, for whoever plans a hopper. */
  get expected(): { readonly presses: number; readonly drops: number } {
    const { comingsPerDay, drawsOthers, more, presses, drops } = this.#habits;
    const birds = (comingsPerDay / (1 - drawsOthers)) * (1 + more);
    return { presses: birds * presses, drops: birds * drops };
  }

  begin(at: number): void {
    this.#plan(dayBegin(at, this.#place.longitude), at);
  }

  /** A person, a hawk, a cat: nobody comes for a while. */
  scare(until: number): void {
    this.#scaredUntil = Math.max(this.#scaredUntil, until);
  }

  /** Birds come less to what no longer feeds them, down to a fifth. */
  learn(gotFood: boolean): void {
    const fed = gotFood ? 1 : 0;
    this.#fedLately += (fed - this.#fedLately) / 60;
    this.#fedUsually += (fed - this.#fedUsually) / 1_500;
  }

  gramsOnHopper(now: number): number {
    return now < this.#standsUntil ? this.#standing : 0;
  }

  #plan(begin: number, from: number): void {
    const stream = this.#stream;
    this.#agenda.add(begin + day, (now) => this.#plan(now, now));
    if (stream.chance(1 / 50)) this.#size = Math.min(3, Math.max(0.2, this.#size * stream.factor(0.4)));
    if (this.#awayFor > 0) this.#awayFor -= 1;
    else if (stream.chance(this.#habits.awayDays))
      this.#awayFor = Math.ceil(stream.exponential(this.#habits.awaySpell));
    if (this.#awayFor > 0 && stream.chance(0.95)) return;
    const { rise, set } = this.#weather.sun.rises(begin);
    if (stream.chance(this.#habits.hawksPerDay)) this.#meetHawk(stream.uniform(rise, set));
    const firsts = stream.poisson(this.#habits.comingsPerDay * this.#size * this.#season(begin) * this.#interest);
    for (let index = 0; index < Math.min(80, firsts); index += 1) {
      const at = this.#firstComing(rise, set);
      if (at >= from) this.#agenda.add(at, (now) => this.#come(now, set));
    }
  }

  #firstComing(rise: number, set: number): number {
    const { morning, evening } = this.#habits;
    const stream = this.#stream;
    const length = set - rise;
    const draw = stream.unit();
    if (draw < morning)
      return rise - 10 * minute + Math.min(length, stream.exponential(length * 0.12) + stream.exponential(15 * minute));
    if (draw < morning + evening) return set - Math.min(length, stream.exponential(length * 0.15) + 20 * minute);
    return stream.uniform(rise, set);
  }

  #come(now: number, set: number): void {
    const stream = this.#stream;
    if (now < this.#scaredUntil) return;
    const roosting = now > set + 12 * minute;
    const sheltering = this.#weather.to(now).rain > 3 && stream.chance(0.6);
    if (roosting || sheltering) return;
    this.bouts += 1;
    const birds = 1 + stream.poisson(this.#habits.more);
    for (let bird = 0; bird < Math.min(8, birds); bird += 1)
      this.#visit(now + (bird > 0 ? stream.exponential(40 * second) : 0));
    if (stream.chance(this.#habits.standsOnLid)) {
      this.#standing = this.#habits.birdGrams * stream.uniform(0.85, 1.15) * (stream.chance(0.2) ? 2 : 1);
      this.#standsUntil = now + stream.exponential(50 * second);
    }
    const others = stream.poisson(this.#habits.drawsOthers * this.#interest);
    for (let other = 0; other < others; other += 1) {
      this.#agenda.add(now + stream.exponential(this.#habits.othersWithin), (at) => this.#come(at, set));
    }
  }

  #visit(from: number): void {
    const stream = this.#stream;
    const add = (at: number, act: BirdAct) => this.#agenda.add(at, (now) => this.#act(act, now));
    let at = from + stream.uniform(0.5, 5) * second;
    add(at, "lands");
    if (stream.chance(0.15)) add(at + stream.uniform(2, 30) * second, "lands"); // hops off and on again
    const drops = stream.poisson(this.#habits.drops * this.#interest);
    for (let drop = 0; drop < drops; drop += 1) {
      at += stream.uniform(1, 4) * second + stream.exponential(18 * second);
      add(at, stream.chance(this.#habits.notCaps) ? "dropsOther" : "dropsCap");
    }
    const presses = stream.poisson(this.#habits.presses * stream.exponential(1));
    for (let press = 0; press < Math.min(25, presses); press += 1) {
      at += stream.uniform(0.4, 3) * second + stream.exponential(14 * second);
      add(at, "presses");
    }
  }

  #meetHawk(at: number): void {
    this.#agenda.add(at, (now) => this.scare(now + this.#stream.uniform(0.7, 5) * hour));
  }

  #season(at: number): number {
    const winter = Math.cos(2 * Math.PI * (yearShare(at) - 0.04)) * Math.sign(this.#place.latitude);
    return 1 + this.#habits.season * winter;
  }

  get #interest(): number {
    return Math.max(0.2, Math.min(1, (this.#fedLately + 0.02) / (this.#fedUsually + 0.02)));
  }
}
