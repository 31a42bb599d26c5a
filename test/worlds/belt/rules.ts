import type { WorldSensors } from "../world.ts";
import { minute, second } from "./agenda.ts";
import type { Chance } from "./chance.ts";

type Pay = "each" | "some" | "none";

/** How home-written programs differ: what pays, how much, how soon, what they record. All of it: common practice, no source. */
export interface Rules {
  readonly press: Pay;
  readonly pressPortions: number;
  readonly deposit: Pay;
  readonly depositPortions: number;
  readonly oneIn: number; // where only some are paid
  readonly reaction: number;
  readonly rests: number; // after a portion
  readonly queues: boolean; // what comes while it rests is paid afterwards; else never
  readonly dailyMost: number;
  readonly paysInTheDark: boolean;
  readonly timerPortions: number; // a day
  readonly retries: number; // after nothing was counted
  readonly retriesApart: boolean; // each retry is an event of its own
  readonly countsUntilEnough: boolean;
  readonly locksAfter: number | null; // portions without a count in a row
  readonly locksFor: number;
  readonly jogs: boolean; // tries the belt out at each start, without a portion
}

export function drawRules(chance: Chance, sensors: WorldSensors, triesPerDay: number): Rules {
  const { button, detector, chute } = sensors;
  const isLateStage = detector && chance.happens(0.3); // only litter pays
  const press = chance.pick(["each", "each", "each", "some"] as const);
  const deposit = chance.pick(["each", "each", "each", "some"] as const);
  const isPaid = button || detector;
  const timers = isPaid ? chance.pick([0, 0, 0, 2, 3, 6, 10]) : Math.max(5, Math.round(0.4 * triesPerDay));
  return {
    press: button && !isLateStage ? press : "none",
    pressPortions: chance.happens(0.9) ? 1 : 2,
    deposit: detector ? deposit : "none",
    depositPortions: chance.pick([1, 1, 1, 2, 3]),
    oneIn: chance.between(1.5, 4),
    reaction: chance.factorBetween(40, 900),
    rests: chance.factorBetween(1.2, 50) * second,
    queues: chance.happens(0.4),
    dailyMost: chance.whole(25, 250),
    paysInTheDark: chance.happens(0.5),
    timerPortions: Math.min(60, timers),
    retries: chute ? chance.pick([0, 0, 0, 1, 1, 2]) : 0,
    retriesApart: chance.happens(0.5),
    countsUntilEnough: chute && chance.happens(0.2),
    locksAfter: chute && chance.happens(0.2) ? chance.whole(4, 10) : null,
    locksFor: chance.factorBetween(8, 80) * minute,
    jogs: chance.happens(0.2),
  };
}

/** What it records of what it does. */
export interface Recording {
  readonly paysFor: boolean;
  readonly motorMs: boolean;
  readonly stampsStart: boolean; // of the run; else its end
  readonly earns: boolean; // says with each press and deposit whether it will be paid
  readonly saysTrouble: boolean;
  readonly marksCut: boolean; // a run that its own protection ended
}

export const drawRecording = (chance: Chance): Recording => ({
  paysFor: chance.happens(0.8),
  motorMs: chance.happens(0.9),
  stampsStart: chance.happens(0.6),
  earns: chance.happens(0.25),
  saysTrouble: chance.happens(0.3),
  marksCut: chance.happens(0.5),
});

/** What the button, the slot and the perch make of birds. */
export interface Touch {
  readonly pressFelt: number;
  readonly pressBounces: number;
  readonly perchFelt: number;
  readonly perchGap: number; // one visit at most in so long
  readonly metalFound: number;
  readonly litterAsMetal: number;
  readonly signal: number;
  readonly slotBeam: boolean;
  readonly strayPresses: number; // a day
  readonly strayVisits: number;
}

export const drawTouch = (chance: Chance): Touch => ({
  pressFelt: chance.between(0.8, 0.99),
  pressBounces: chance.happens(0.5) ? 0 : chance.factorBetween(0.002, 0.05),
  perchFelt: chance.between(0.7, 0.99),
  perchGap: chance.factorBetween(0.5, 40) * second,
  metalFound: chance.between(0.9, 0.995),
  litterAsMetal: chance.between(0, 0.06),
  signal: chance.between(0.35, 0.9),
  slotBeam: chance.happens(0.6),
  strayPresses: chance.happens(0.6) ? 0 : chance.factorBetween(0.01, 0.5),
  strayVisits: chance.happens(0.5) ? 0 : chance.factorBetween(0.05, 3), // mice, martens, wind
});
