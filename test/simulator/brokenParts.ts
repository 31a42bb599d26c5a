import { after, type Instant, inDays, type Span } from "../../server/domain/instant.ts";
import { poisson } from "../../server/practice/model/birdDay.ts";
import { partFaultOf } from "../../server/practice/model/faults.ts";
import { type Dispenser, type FoodStore, type ReleasedPortion, turnTray } from "../../server/practice/model/tray.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import type { Disturbance, Plot } from "./plot.ts";

/** Faults that the practice feeders' parts don't know: a tray half free, a beam that dirt covers slowly, a button that chatters. */

export const dispenserOf = ({ food, motor, chute }: Plot): Dispenser => ({ tray: food, motor, chute });

/** How such a fault shows in this feeder. All ranges are invented. */
interface FaultTraits {
  readonly freeShare: number; // of a usual portion, that still falls
  readonly jamShare: number; // of the additional load of a whole jam
  readonly dirtDays: number; // until the beam sees nothing
  readonly burstsPerDay: number;
  readonly burstContacts: number;
}

/** From a stream of its own, so that nothing before the fault changes. */
function faultTraits(plotSeed: number): FaultTraits {
  const random = seededRandom(0x3fa17000 ^ plotSeed);
  return {
    freeShare: random.between(0.1, 0.45),
    jamShare: random.between(0, 0.8),
    dirtDays: random.between(5, 7),
    burstsPerDay: Math.exp(random.between(Math.log(4), Math.log(50))),
    burstContacts: random.between(4, 40),
  };
}

interface TurnConditions {
  readonly fault: Disturbance | null;
  readonly faultAge: Span; // since the planted fault began
  readonly portionGrams: number;
  readonly insideCelsius: number;
}

/** What one run of the plot's motor does, with what is broken. */
export function turnPlotTray(
  plot: Plot,
  store: FoodStore,
  { fault, faultAge, ...conditions }: TurnConditions,
  random: RandomSource,
): { readonly store: FoodStore; readonly portion: ReleasedPortion } {
  const dispenser = dispenserOf(plot);
  const broken = { ...conditions, fault: partFaultOf(fault) };
  if (fault === "trayPartlyJammed") {
    const { freeShare, jamShare } = faultTraits(plot.seed);
    const runShare = freeShare * random.between(0.5, 1.5);
    const { store: left, portion } = turnTray(store, dispenser, { ...broken, runShare }, random);
    const load = 1 + jamShare * (plot.motor.jam - 1);
    return { store: left, portion: { ...portion, milliamps: portion.milliamps * load } };
  }
  if (fault !== "chuteDirty") return turnTray(store, dispenser, broken, random);
  const sight = Math.max(0, 1 - inDays(faultAge) / faultTraits(plot.seed).dirtDays);
  const chute = { ...dispenser.chute, pieceSeen: sight * dispenser.chute.pieceSeen };
  return turnTray(store, { ...dispenser, chute }, broken, random);
}

/** A fault that lets food run out shows with the first portion of which nothing falls; any other with the next portion. */
export function showsFault(fault: Disturbance | null, emptied: boolean, pieces: number): boolean {
  if (fault === "hopperEmpty") return emptied;
  if (fault === "feedBridged") return pieces === 0;
  return fault !== null;
}

/** Contacts of a button that chatters: bursts, at any hour. A feeder pays for one, and then not for some seconds. */
export class Chatter {
  readonly #random: RandomSource;
  readonly #traits: FaultTraits;
  #waiting: Instant[] = [];
  #paidAt: Instant | null = null;

  constructor(plotSeed: number) {
    this.#random = seededRandom(0x2c4a7000 ^ plotSeed);
    this.#traits = faultTraits(plotSeed);
  }

  /** In time order. A burst that begins before `to` may last longer: its other contacts come with the next call. */
  contacts(from: Instant, to: Instant): Instant[] {
    const span = (to - from) as Span;
    for (let bursts = poisson(this.#traits.burstsPerDay * inDays(span), this.#random); bursts > 0; bursts -= 1) {
      this.#waiting.push(...this.#burst(after(from, Math.round(this.#random.uniform() * span) as Span)));
    }
    const due = this.#waiting.filter((at) => at <= to).sort((a, b) => a - b);
    this.#waiting = this.#waiting.filter((at) => at > to);
    return due;
  }

  #burst(from: Instant): Instant[] {
    const random = this.#random;
    const contacts: Instant[] = [];
    let at = from;
    for (let left = 1 + Math.round(random.exponential(this.#traits.burstContacts)); left > 0; left -= 1) {
      contacts.push(at);
      const pause = random.isTrueWith(0.2) ? random.exponential(3_000) : 0;
      at = after(at, Math.round(random.between(30, 150) + pause) as Span);
    }
    return contacts;
  }

  pays(at: Instant): boolean {
    if (this.#paidAt !== null && at - this.#paidAt < restMs) return false;
    this.#paidAt = at;
    return true;
  }
}

const restMs = 3_000;
