import type { WorldSensors } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Random } from "./random.ts";
import { dayMs, dayOfYear, hourMs, type LightSpan, minuteMs } from "./sky.ts";

/**
 * The birds: each comes when it comes, at its own hours, and where one is others follow (a self-exciting process, Hawkes, 1971, from
 * memory). What they get makes them come more or less. Ranges: common practice, no source.
 */

interface Species {
  readonly grams: number;
  readonly dawn: number; // weights of its hours
  readonly noon: number;
  readonly dusk: number;
  readonly any: number;
}

/** Masses from memory. */
const species: readonly Species[] = [
  { grams: 480, dawn: 4, noon: 0, dusk: 3, any: 2 }, // crows
  { grams: 220, dawn: 3, noon: 2, dusk: 0, any: 3 }, // magpies
  { grams: 235, dawn: 1, noon: 3, dusk: 3, any: 2 }, // jackdaws
  { grams: 165, dawn: 2, noon: 3, dusk: 0, any: 4 }, // jays
  { grams: 1_150, dawn: 5, noon: 0, dusk: 1, any: 2 }, // ravens
];

interface Bird {
  readonly grams: number;
  readonly boutsPerDay: number;
  readonly presses: number; // in a bout, on average
  readonly caps: number;
  readonly stranger: number; // share of what it drops that isn't metal
  readonly arrives: number; // within the season, 0 to 1: it is here while the flock is larger than that
}

export interface FlockPart {
  readonly species: Species;
  readonly birds: readonly Bird[];
  readonly daySpread: number;
  readonly dayWithout: number; // share of days
  readonly hawkDays: number; // share of days
  readonly following: number; // comings that each coming draws after it
  readonly followMs: number;
  readonly callOfFood: number; // share of free portions that draw a bird
  readonly peakDay: number; // of the year
  readonly seasonDepth: number; // 0: always as many; 1: gone in the worst season
  readonly anchorHours: number; // how loosely they keep to their hours
  readonly stayMs: number;
  readonly minGapMs: number;
}

export function drawFlock(sensors: WorldSensors, random: Random): FlockPart {
  const kind = random.pick(species);
  const count = random.integer(1, 9);
  const [eager, rich] = [random.logUniform(0.15, 2.5), random.chance(0.2) ? 0.05 : random.logUniform(0.1, 1.2)];
  const often = random.logUniform(1.2, 7);
  return {
    species: kind,
    birds: Array.from({ length: count }, (_, index) => ({
      grams: random.logNormal(kind.grams, 0.08),
      boutsPerDay: random.logNormal(often, 0.5),
      presses: sensors.button ? random.logNormal(eager, 0.6) : 0,
      caps: sensors.detector ? random.logNormal(rich, 0.7) : 0,
      stranger: random.chance(0.5) ? random.uniform(0, 0.03) : random.uniform(0, 0.15),
      arrives: index / count,
    })),
    daySpread: random.uniform(0.15, 0.6),
    dayWithout: random.chance(0.5) ? 0 : random.uniform(0, 0.06),
    hawkDays: random.chance(0.4) ? 0 : random.uniform(0, 0.06),
    following: random.uniform(0.1, 0.6),
    followMs: random.logUniform(2, 25) * minuteMs,
    callOfFood: random.uniform(0, 0.6),
    peakDay: random.uniform(0, 365),
    seasonDepth: random.uniform(0, 0.7),
    anchorHours: random.uniform(0.3, 1.6),
    stayMs: random.logUniform(25, 260) * 1_000,
    minGapMs: random.logUniform(1_200, 9_000),
  };
}

/** What birds find at the feeder. */
export interface Stage {
  comes(): void;
  hop(): void; // on the perch
  sit(grams: number): void; // on the scale; negative when it leaves
  press(): void;
  drop(isCap: boolean): void;
  foodFellAt(): number;
  isWindyOrWet(): boolean;
}

export class Flock {
  readonly part: FlockPart;
  readonly #agenda: Agenda;
  readonly #random: Random;
  readonly #stage: Stage;
  readonly #sitShare: number;
  #trust = 0.8; // how much they expect food, 0 to 1
  #awayUntil = 0;
  #light: LightSpan = { from: 0, noon: 0, to: 0 };

  constructor(part: FlockPart, sitShare: number, tools: { agenda: Agenda; random: Random; stage: Stage }) {
    this.part = part;
    this.#sitShare = sitShare;
    this.#agenda = tools.agenda;
    this.#random = tools.random;
    this.#stage = tools.stage;
  }

  /** Somebody was there: for so long none comes. */
  scare(span: number): void {
    this.#awayUntil = Math.max(this.#awayUntil, this.#agenda.now + span);
  }

  planDay(light: LightSpan): void {
    const random = this.#random;
    this.#light = light;
    if (random.chance(this.part.dayWithout)) return;
    const factor = random.logNormal(1, this.part.daySpread) * (1 - this.part.following);
    const lightFactor = Math.min(1, Math.sqrt((light.to - light.from) / (10 * hourMs)));
    for (const bird of this.#present(light.noon)) {
      const comings = random.poisson(bird.boutsPerDay * factor * lightFactor * (0.3 + 0.7 * this.#trust));
      for (let count = 0; count < comings; count += 1) this.#planComing(this.#hour(), bird);
    }
    if (random.chance(this.part.hawkDays)) this.#planHawk();
  }

  /** Free food can be seen from the trees. */
  seeFood(): void {
    if (!this.#random.chance(this.part.callOfFood)) return;
    const [bird] = this.#present(this.#agenda.now);
    if (bird !== undefined) this.#planComing(this.#agenda.now + this.#random.exponential(4 * minuteMs), bird);
  }

  #planHawk(): void {
    const { from, to } = this.#light;
    this.#agenda.plan(this.#random.uniform(from, to), () => this.scare(this.#random.uniform(1.5, 9) * hourMs));
  }

  #present(at: number): readonly Bird[] {
    const { birds, seasonDepth, peakDay } = this.part;
    const season = Math.cos((2 * Math.PI * (dayOfYear(at) - peakDay)) / 365.2422);
    const share = 1 - seasonDepth * (0.5 - 0.5 * season);
    return birds.filter(({ arrives }) => arrives < share);
  }

  #hour(): number {
    const { species: kind, anchorHours } = this.part;
    const { from, noon, to } = this.#light;
    const off = this.#random.normal(0, anchorHours * hourMs);
    const { dawn, noon: midday, dusk, any } = kind;
    switch (this.#random.weighted({ dawn, midday, dusk, any })) {
      case "dawn":
        return from + Math.abs(off);
      case "midday":
        return noon + off;
      case "dusk":
        return to - Math.abs(off);
      case "any":
        return this.#random.uniform(from, to);
    }
  }

  #planComing(at: number, bird: Bird): void {
    if (at < this.#light.from || at > this.#light.to) return;
    this.#agenda.plan(at, () => this.#come(bird));
  }

  #come(bird: Bird): void {
    const random = this.#random;
    const { now } = this.#agenda;
    if (now < this.#awayUntil || (this.#stage.isWindyOrWet() && random.chance(0.5))) return;
    this.#stage.comes();
    for (let count = random.poisson(this.part.following); count > 0; count -= 1) {
      this.#planComing(now + random.exponential(this.part.followMs), random.pick(this.part.birds));
    }
    const stay = Math.min(20 * minuteMs, random.logNormal(this.part.stayMs, 0.7));
    for (let hops = 1 + random.poisson(0.8); hops > 0; hops -= 1) {
      this.#agenda.in(hops === 1 ? 0 : random.uniform(0, stay), () => this.#stage.hop());
    }
    this.#sit(bird, stay);
    this.#agenda.in(random.uniform(1_000, 15_000), () => this.#act(this.#acts(bird), bird, now));
  }

  #sit({ grams }: Bird, stay: number): void {
    if (!this.#random.chance(this.#sitShare)) return;
    this.#stage.sit(grams);
    this.#agenda.in(stay * this.#random.uniform(0.05, 1), () => this.#stage.sit(-grams));
  }

  #acts({ presses, caps }: Bird): ("cap" | "press")[] {
    const eager = 0.4 + 0.6 * this.#trust;
    return [
      ...Array.from({ length: Math.min(6, this.#random.poisson(caps * eager)) }, () => "cap" as const),
      ...Array.from({ length: Math.min(15, this.#random.poisson(presses * eager)) }, () => "press" as const),
    ];
  }

  /** One act after the other, until none is left or no food comes of them. @param since when it last looked into the tray */
  #act(acts: ("cap" | "press")[], bird: Bird, since: number): void {
    const random = this.#random;
    const { now } = this.#agenda;
    const wasFed = this.#stage.foodFellAt() > since - 2 * hourMs;
    const act = acts.shift();
    if (act === undefined || (this.#stage.foodFellAt() < since && random.chance(0.12))) {
      this.#trust += 0.02 * ((wasFed ? 1 : 0) - this.#trust);
      return;
    }
    if (act === "cap") this.#stage.drop(!random.chance(bird.stranger));
    else this.#stage.press();
    if (act === "press" && random.chance(0.04)) this.#agenda.in(random.uniform(250, 900), () => this.#stage.press());
    const gap = this.part.minGapMs + random.logNormal(act === "cap" ? 25_000 : 5_000, 0.7);
    this.#agenda.in(gap, () => this.#act(acts, bird, now));
  }
}

/** What such birds are expected to do in a day. */
export interface ExpectedActs {
  readonly presses: number;
  readonly caps: number;
}

export const expectedActs = ({ birds, seasonDepth }: FlockPart): ExpectedActs => ({
  presses: birds.reduce((sum, { boutsPerDay, presses }) => sum + boutsPerDay * presses, 0) * (1 - 0.5 * seasonDepth),
  caps: birds.reduce((sum, { boutsPerDay, caps }) => sum + boutsPerDay * caps, 0) * (1 - 0.5 * seasonDepth),
});

/** Other animals: squirrels by day, mice at night. */
export interface AnimalPart {
  readonly squirrelsPerDay: number;
  readonly micePerNight: number;
  readonly pressShare: number; // of their comings
}

export const drawAnimals = (random: Random): AnimalPart => ({
  squirrelsPerDay: random.chance(0.5) ? 0 : random.logUniform(0.05, 4),
  micePerNight: random.chance(0.5) ? 0 : random.logUniform(0.02, 2),
  pressShare: random.uniform(0, 0.3),
});

export function planAnimals(
  part: AnimalPart,
  light: LightSpan,
  { agenda, random, stage }: { agenda: Agenda; random: Random; stage: Stage },
): void {
  const visit = (presses: number) => () => {
    stage.hop();
    if (!random.chance(part.pressShare)) return;
    for (let count = random.integer(1, presses); count > 0; count -= 1) {
      agenda.in(random.uniform(1_000, 60_000), () => stage.press());
    }
  };
  for (let count = random.poisson(part.squirrelsPerDay); count > 0; count -= 1) {
    agenda.plan(random.uniform(light.from, light.to), visit(4));
  }
  const night = Math.max(0, light.from + dayMs - light.to);
  for (let count = random.poisson(part.micePerNight); count > 0; count -= 1) {
    agenda.plan(light.to + random.uniform(0, night), visit(2));
  }
}
