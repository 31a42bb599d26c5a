import type { Random } from "./random.ts";
import { civilDay, type Place } from "./sun.ts";
import { day, hour } from "./time.ts";
import type { Sky } from "./weather.ts";

/**
 * Which birds live near the feeder, and when they come: sometimes none for a week, then a pair, then a family. They are active from
 * civil dawn to civil dusk, so in polar night in a few hours of twilight only, and at the midnight sun nearly always with a rest around
 * midnight (Steiger et al., "When the sun never sets", Proc. R. Soc. B 280, 2013: such rhythms differ widely; from memory). How many and how
 * often: common practice, no source.
 */
type Residents = "none" | "pair" | "family";

export class Birds {
  readonly grams: number; // of one bird
  /** 1: they have learnt that it feeds; towards 0 where it doesn't any more. */
  hope = 1;
  private readonly random: Random;
  private readonly place: Place;
  private readonly boutsOfPair: number; // a day
  private readonly absence: number; // days, mean
  private residents: Residents;
  private residentsUntil: number;

  constructor(random: Random, place: Place, begin: number) {
    this.random = random;
    this.place = place;
    // Jay, magpie, crow, raven: handbook masses, from memory.
    this.grams = random.pick([85, 220, 220, 500, 500, 1_150]) * random.factor(0.08);
    this.boutsOfPair = random.logBetween(1.5, 12);
    this.absence = random.between(3, 10);
    this.residents = random.pick(["none", "pair", "pair", "family"]);
    this.residentsUntil = begin + random.exponential(8) * day;
  }

  /** How many may come together. */
  get groupMax(): number {
    return this.residents === "family" ? 4 : 2;
  }

  /** @returns when birds come within the 24 hours from `from` on, in time order */
  arrivals(from: number, sky: Sky, longitudeDegrees: number): number[] {
    this.changeResidents(from);
    const light = civilDay(from, this.place);
    if (this.residents === "none" || light === null) return [];
    const mean = this.boutsOfPair * (this.residents === "family" ? 2.5 : 1) * this.hope * weatherFactor(sky);
    const count = this.random.poisson(mean * this.random.factor(0.4));
    const times = Array.from({ length: count }, () => this.arrival(light, from, longitudeDegrees));
    return times.sort((a, b) => a - b);
  }

  /** A bout ends. @param tried whether they asked for food */
  learn(tried: boolean, wasFed: boolean): void {
    if (wasFed) this.hope += 0.3 * (1 - this.hope);
    else if (tried) this.hope = Math.max(0.08, 0.85 * this.hope);
  }

  /** Nothing lay there all day, where it lies without asking. */
  findNothing(): void {
    if (this.residents !== "none") this.hope = Math.max(0.08, 0.8 * this.hope);
  }

  private changeResidents(now: number): void {
    while (now >= this.residentsUntil) {
      const { random } = this;
      const next: { readonly [From in Residents]: readonly [Residents, ...Residents[]] } = {
        none: ["pair", "pair", "family"],
        pair: ["none", "family"],
        family: ["pair", "pair", "none"],
      };
      if (this.residents === "none") this.hope = Math.max(this.hope, 0.5); // others than before: curious
      this.residents = random.pick(next[this.residents]);
      const days = this.residents === "none" ? this.absence : this.residents === "pair" ? 15 : 8;
      this.residentsUntil += (1 + random.exponential(days)) * day;
    }
  }

  /** Most come early, some more again before the night. */
  private arrival({ dawn, dusk }: { dawn: number; dusk: number }, from: number, longitude: number): number {
    const { random } = this;
    if (dusk - dawn >= 23.5 * hour) {
      // The sun doesn't set below civil twilight: one in twenty comes in the hours around midnight.
      const midnight = from + ((24 - ((from / hour + longitude / 15) % 24)) % 24) * hour;
      const hours = random.chance(0.05) ? random.between(-1, 3) : random.between(3, 23);
      const at = midnight + hours * hour;
      return at >= from + day ? at - day : Math.max(from, at);
    }
    const drawn = random.next();
    const share = drawn < 0.35 ? 0.25 * random.next() : drawn < 0.55 ? 1 - 0.2 * random.next() : random.next();
    return dawn + share * (dusk - dawn) + 0.1 * hour * random.normal();
  }
}

/** Hard frost makes hungry, storm keeps away. */
const weatherFactor = ({ air, wind, rain }: Sky): number => (air < -15 ? 1.3 : 1) * (wind > 9 || rain > 1.5 ? 0.6 : 1);
