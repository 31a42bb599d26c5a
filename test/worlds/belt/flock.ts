import { type Agenda, day, hour, minute, second } from "./agenda.ts";
import type { Chance } from "./chance.ts";
import { lightOf, midnightBefore, type Place, sinceMidsummer } from "./place.ts";
import type { Weather } from "./weather.ts";

/** What a bird does to the feeder. */
export interface Touched {
  land(): void;
  press(): void;
  drop(isMetal: boolean): void;
  fedAt(): number;
}

interface FlockParts {
  readonly agenda: Agenda;
  readonly place: Place;
  readonly weather: Weather;
  readonly touched: Touched;
  readonly canPress: boolean;
  readonly canDrop: boolean;
}

/** Common practice, no source: what is told of crows, jackdaws and magpies at feeders. */
export interface Habits extends Manners {
  readonly triesPerDay: number; // of all together, roughly
  readonly comings: number; // a day, that no other one set off
  readonly draws: number; // further ones that a coming sets off, on average (Hawkes 1971)
  readonly birds: number; // at once, mean
  readonly tries: number; // a bird and coming
}

interface Manners {
  readonly drawsWithin: number;
  readonly patience: number; // tries in vain
  readonly drops: number; // share of the tries with a cap, once they know how
  readonly litter: number; // of what they bring: no metal
  readonly morning: number; // share of the comings in the first hours
  readonly leavesEvery: number;
  readonly hawkEvery: number;
  readonly juveniles: number; // factor on comings in their weeks
  readonly grams: number; // of a bird
}

export function drawHabits(chance: Chance): Habits {
  const [draws, birds, tries] = [chance.between(0, 0.6), chance.factorBetween(1, 4), chance.factorBetween(0.6, 5)];
  const triesPerDay = chance.factorBetween(8, 200);
  return {
    triesPerDay,
    comings: Math.min(40, Math.max(1.5, (triesPerDay * (1 - draws)) / (birds * tries))),
    ...{ draws, birds, tries },
    ...drawManners(chance),
  };
}

const drawManners = (chance: Chance): Manners => ({
  drawsWithin: chance.factorBetween(3, 40) * minute,
  patience: chance.whole(1, 6),
  drops: chance.factorBetween(0.08, 0.7),
  litter: chance.between(0.02, 0.3),
  morning: chance.between(0.25, 0.6),
  leavesEvery: chance.factorBetween(25, 300) * day,
  hawkEvery: chance.factorBetween(4, 60) * day,
  juveniles: chance.between(1, 2.2),
  grams: chance.pick([230, 240, 480, 520]), // jackdaw, magpie; crows: from memory
});

/** The birds of the place, planned day by day from sunrise on; each coming may set off others. */
export class Flock {
  bouts = 0;
  birdsOn = 0; // that stand on the feeder now
  readonly habits: Habits;
  readonly #chance: Chance;
  readonly #parts: FlockParts;
  #size = 1; // as families join and part
  #trust = 1; // falls where coming is in vain
  #awayUntil = 0;
  #fearUntil = 0;

  constructor(chance: Chance, habits: Habits, parts: FlockParts) {
    this.#chance = chance;
    this.#parts = parts;
    this.habits = habits;
    const { agenda, place } = parts;
    this.#planDay(midnightBefore(agenda.now, place));
  }

  get gramsOn(): number {
    return this.birdsOn * this.habits.grams;
  }

  #planDay(midnight: number): void {
    const { agenda, place } = this.#parts;
    const chance = this.#chance;
    agenda.at(midnight + day, () => this.#planDay(midnight + day));
    if (chance.happens(day / this.habits.leavesEvery)) this.#awayUntil = agenda.now + chance.between(0.8, 5) * day;
    if (chance.happens(1 / 30)) this.#size = Math.min(2.5, Math.max(0.4, this.#size * chance.spread(0.35)));
    this.#planHawk(midnight);
    const light = lightOf(midnight, place);
    if (light === null) return;
    // Under a midnight sun they roost some hours all the same.
    const from = Math.max(light.from, midnight + 2.5 * hour);
    const to = Math.min(light.to, midnight + 21.5 * hour);
    for (let count = chance.poisson(this.#comingsToday()); count > 0; count -= 1) {
      const at = this.#momentOf(from, to);
      if (at > agenda.now) agenda.at(at, () => this.#come());
    }
  }

  #comingsToday(): number {
    const { place, agenda, weather } = this.#parts;
    const sky = weather.at(agenda.now);
    const season = sinceMidsummer(agenda.now, place);
    const isFledged = season > 0.9 || season < 0.1; // from a month before the warmest weeks until a month after
    const young = isFledged ? this.habits.juveniles : 1;
    const cold = sky.air < -2 ? 1.25 : 1;
    const mood = this.#chance.spread(0.3);
    return Math.min(60, this.habits.comings * this.#size * this.#trust * young * cold * mood);
  }

  #planHawk(midnight: number): void {
    const chance = this.#chance;
    if (!chance.happens(day / this.habits.hawkEvery)) return;
    this.#parts.agenda.at(midnight + chance.between(6, 18) * hour, () => {
      this.#fearUntil = this.#parts.agenda.now + chance.factorBetween(0.3, 30) * hour;
    });
  }

  #momentOf(from: number, to: number): number {
    const chance = this.#chance;
    const length = to - from;
    if (chance.happens(this.habits.morning)) return from + Math.min(0.6 * length, chance.wait(1.3 * hour));
    if (chance.happens(0.3)) return to - Math.min(0.5 * length, 0.3 * hour + chance.wait(1.2 * hour));
    return chance.between(from, to - Math.min(0.1 * length, 0.5 * hour));
  }

  #come(): void {
    const { agenda, weather, place } = this.#parts;
    const chance = this.#chance;
    const { now } = agenda;
    const light = weather.at(now).sun > -0.1;
    if (!light || now < this.#awayUntil || (now < this.#fearUntil && !chance.happens(0.05))) return;
    if (weather.at(now).wind > 12 && chance.happens(0.6)) return;
    for (let more = chance.poisson(this.habits.draws); more > 0; more -= 1)
      agenda.in(chance.wait(this.habits.drawsWithin), () => this.#come());
    this.bouts += 1;
    const birds = Math.min(9, 1 + chance.poisson(this.habits.birds * this.#size - 1));
    const season = sinceMidsummer(now, place);
    const isClumsy = season < 0.12;
    for (let bird = 0; bird < birds; bird += 1) this.#land(bird * chance.between(1, 20) * second, isClumsy);
  }

  #land(after: number, isClumsy: boolean): void {
    const { agenda, touched } = this.#parts;
    const chance = this.#chance;
    const tries = chance.poisson(this.habits.tries * (isClumsy ? 1.3 : 1));
    agenda.in(after, () => {
      this.birdsOn += 1;
      touched.land();
      agenda.in(chance.between(2, 15) * second, () =>
        this.#try({ left: tries, vain: 0, fed: false, asked: tries > 0 }),
      );
    });
  }

  #try(bird: Bird): void {
    const { agenda, touched, canPress, canDrop } = this.#parts;
    const chance = this.#chance;
    if (bird.left <= 0 || bird.vain > this.habits.patience || (!canPress && !canDrop)) {
      this.#leave(bird);
      return;
    }
    const askedAt = agenda.now;
    if (canDrop && (!canPress || chance.happens(this.habits.drops))) touched.drop(!chance.happens(this.habits.litter));
    else touched.press();
    agenda.in(chance.between(3, 9) * second, () => {
      const isFed = touched.fedAt() >= askedAt;
      const next = { ...bird, left: bird.left - 1, vain: isFed ? 0 : bird.vain + 1, fed: bird.fed || isFed };
      const pause = isFed ? 6 + chance.wait(30) : chance.between(1, 12);
      agenda.in(pause * second, () => this.#try(next));
    });
  }

  #leave({ fed, asked }: Bird): void {
    const { agenda, touched, canPress, canDrop } = this.#parts;
    agenda.in(this.#chance.between(2, 60) * second, () => {
      this.birdsOn = Math.max(0, this.birdsOn - 1);
    });
    const hasEaten = fed || (!canPress && !canDrop && touched.fedAt() > agenda.now - 6 * hour);
    if (asked || (!canPress && !canDrop)) this.#trust += 0.02 * ((hasEaten ? 1 : 0.25) - this.#trust);
  }
}

interface Bird {
  readonly left: number;
  readonly vain: number;
  readonly fed: boolean;
  readonly asked: boolean;
}
