import { type Batch, type Food, type Hopper, meanPieceGrams, pieceGrams } from "./food.ts";
import type { Random } from "./random.ts";

/** What turns the hopper's food into portions. Ranges of all kinds: common practice, no source. */

type Range = readonly [low: number, high: number];

export interface DispenserKind {
  readonly name: string;
  readonly spread: Range; // of portions, as a share of their mean
  readonly empties: Range; // share of runs that give nothing, by nature
  readonly doubles: Range;
  readonly levelEffect: Range; // how much less comes from a nearly empty hopper
  readonly dampEffect: Range; // how much less comes of damp food
  readonly coldEffect: Range; // how much less comes at -20 Celsius
  readonly motorMs: Range;
  readonly milliamps: Range;
  readonly motor: "motor" | "solenoid" | "shaker";
}

export const dispenserKinds: readonly DispenserKind[] = [
  {
    name: "sliding drawer",
    motor: "motor",
    spread: [0.07, 0.2],
    empties: [0.002, 0.012],
    doubles: [0.001, 0.01],
    levelEffect: [0, 0.08],
    dampEffect: [0, 0.25],
    coldEffect: [0, 0.15],
    motorMs: [400, 2_500],
    milliamps: [60, 500],
  },
  {
    name: "brush roller",
    motor: "motor",
    spread: [0.12, 0.35],
    empties: [0.002, 0.02],
    doubles: [0.002, 0.02],
    levelEffect: [0.05, 0.3],
    dampEffect: [0.1, 0.4],
    coldEffect: [0, 0.3],
    motorMs: [500, 4_000],
    milliamps: [60, 600],
  },
  {
    name: "tipping cup",
    motor: "motor",
    spread: [0.18, 0.45],
    empties: [0.008, 0.05],
    doubles: [0.001, 0.01],
    levelEffect: [0.1, 0.4],
    dampEffect: [0.05, 0.3],
    coldEffect: [0, 0.1],
    motorMs: [800, 3_500],
    milliamps: [80, 900],
  },
  {
    name: "flap",
    motor: "solenoid",
    spread: [0.2, 0.55],
    empties: [0.004, 0.04],
    doubles: [0.004, 0.03],
    levelEffect: [0.1, 0.45],
    dampEffect: [0.1, 0.5],
    coldEffect: [0, 0.1],
    motorMs: [80, 600],
    milliamps: [400, 1_800],
  },
  {
    name: "star valve",
    motor: "motor",
    spread: [0.08, 0.25],
    empties: [0.003, 0.025],
    doubles: [0.004, 0.04],
    levelEffect: [0.02, 0.15],
    dampEffect: [0.05, 0.3],
    coldEffect: [0, 0.2],
    motorMs: [500, 3_000],
    milliamps: [80, 700],
  },
  {
    name: "vibrating chute",
    motor: "shaker",
    spread: [0.15, 0.4],
    empties: [0.003, 0.03],
    doubles: [0.001, 0.008],
    levelEffect: [0.1, 0.35],
    dampEffect: [0.15, 0.6],
    coldEffect: [0, 0.3],
    motorMs: [1_200, 9_000],
    milliamps: [40, 450],
  },
];

/** What one feeder's dispenser is like. */
export interface Build {
  readonly kind: DispenserKind;
  readonly portionGrams: number;
  readonly spread: number;
  readonly empties: number;
  readonly emptiesStay: number; // share of empty runs that another follows at once
  readonly doubles: number;
  readonly levelEffect: number;
  readonly dampEffect: number;
  readonly coldEffect: number;
  readonly wear: number; // change of the portion in a hundred days, as a share
  readonly motorMs: number;
  readonly milliamps: number;
  readonly tailShare: number; // of the capacity: below that less and less comes
  readonly jamRest: number; // what still comes past a partial jam, as a share
}

export function drawBuild(food: Food, random: Random): Build {
  const kind = random.pick(dispenserKinds);
  const [within, logWithin] = [
    (range: Range) => random.uniform(...range),
    (range: Range) => random.logUniform(...range),
  ];
  return {
    kind,
    portionGrams: Math.max(random.logUniform(0.8, 9), 1.3 * meanPieceGrams(food)),
    spread: within(kind.spread),
    empties: logWithin(kind.empties),
    emptiesStay: random.uniform(0.02, 0.45),
    doubles: logWithin(kind.doubles),
    levelEffect: within(kind.levelEffect),
    dampEffect: within(kind.dampEffect),
    coldEffect: within(kind.coldEffect),
    wear: random.uniform(-0.1, 0.06),
    motorMs: Math.round(logWithin(kind.motorMs)),
    milliamps: logWithin(kind.milliamps),
    tailShare: random.logUniform(0.003, 0.08),
    jamRest: random.uniform(0.06, 0.35),
  };
}

export interface Surroundings {
  readonly damp: number; // 0 to 1
  readonly celsius: number;
  readonly days: number; // since the story began
  readonly speed: number; // of the motor by its supply, 1 as built
  readonly obstacle: "none" | "jam" | "partJam";
}

export interface Fall {
  readonly grams: number;
  readonly pieces: number;
}

const nothing: Fall = { grams: 0, pieces: 0 };

export class Dispenser {
  readonly build: Build;
  readonly #food: Food;
  readonly #hopper: Hopper;
  readonly #random: Random;
  #wasEmpty = false;

  constructor(build: Build, food: Food, hopper: Hopper, random: Random) {
    this.build = build;
    this.#food = food;
    this.#hopper = hopper;
    this.#random = random;
  }

  /** One full run, without what the motor does. */
  run(batch: Batch, around: Surroundings): Fall {
    if (around.obstacle === "jam" || this.#hopper.reachable <= 0) return nothing;
    this.#wasEmpty = this.#random.chance(this.#emptyShare(around));
    if (this.#wasEmpty) return nothing;
    return this.#drop(this.#aim(batch, around), batch, around);
  }

  /** Damp food sticks, and more so once it freezes. */
  #emptyShare({ damp, celsius, obstacle }: Surroundings): number {
    const { empties, emptiesStay, dampEffect } = this.build;
    const sticks = damp * dampEffect * (celsius < -1 ? 6 : 3);
    const jammed = obstacle === "partJam" ? 0.3 : 0;
    const first = Math.min(0.5, empties * (1 + sticks)) + jammed;
    return this.#wasEmpty ? Math.max(first, emptiesStay) : first;
  }

  /** Grams of a portion on the whole, such as a keeper finds by weighing many. */
  usualGrams(batch: Batch, { damp, celsius, days, speed }: Surroundings): number {
    const { portionGrams, levelEffect, dampEffect, coldEffect, wear } = this.build;
    const emptiness = 1 - Math.min(1, this.#hopper.level);
    const cold = Math.max(0, Math.min(1.5, (20 - celsius) / 40));
    const less = (1 - levelEffect * emptiness ** 2) * (1 - dampEffect * damp) * (1 - coldEffect * cold);
    return portionGrams * less * (1 + (wear * days) / 100) * batch.flow * speed;
  }

  /** Grams that this run would give from a hopper without end. */
  #aim(batch: Batch, around: Surroundings): number {
    const { spread, doubles, jamRest } = this.build;
    const twice = this.#random.chance(doubles) ? this.#random.uniform(1.6, 2.2) : 1;
    const jammed = around.obstacle === "partJam" ? jamRest * this.#random.uniform(0.3, 1.5) : 1;
    const drawn = this.#random.logNormal(Math.exp(-(spread ** 2) / 2), spread);
    return this.usualGrams(batch, around) * twice * jammed * this.#tail() * drawn;
  }

  #tail(): number {
    const tail = this.build.tailShare * this.#hopper.capacity;
    return Math.min(1, Math.max(0.12, this.#hopper.reachable / tail) ** 0.7);
  }

  /** Whole pieces, so that their mean over many runs is the aim; at least one, where nothing is in the way. */
  #drop(aim: number, batch: Batch, { damp, obstacle }: Surroundings): Fall {
    let [grams, pieces] = [0, 0];
    const least = obstacle === "none" ? 1 : 0;
    for (;;) {
      const piece = pieceGrams(this.#food, batch, damp, this.#random);
      const missing = aim - grams;
      if (pieces >= least && !this.#random.chance(missing / piece)) return { grams, pieces };
      const came = this.#hopper.take(piece);
      if (came <= 0) return { grams, pieces };
      grams += came;
      pieces += 1;
    }
  }
}
