import { roundTo } from "./numbers.ts";
import type { PlantedFault } from "./planted.ts";
import type { Random } from "./random.ts";

/** How the button, the metal detector and the perch answer to a bird. */
export class BirdSensors {
  readonly #traits: SensorTraits;
  readonly #random: Random;
  readonly #fault: PlantedFault;
  readonly hasSlotBeam: boolean; // sees also what is no metal

  constructor(random: Random, fault: PlantedFault, chute: boolean) {
    this.#random = random;
    this.#fault = fault;
    this.#traits = drawTraits(random);
    // Reported as the deposit's `chute`: only a feeder with chute sensors has one.
    this.hasSlotBeam = this.#traits.slotBeam && chute;
  }

  /** Whether a peck closes the contact, and how long after it the contact bounces: null where it doesn't. */
  peck(at: number): { readonly isFelt: boolean; readonly bouncesAfter: number | null } {
    const isFelt = this.#random.chance(this.#traits.pecksFelt) && !this.#fault.is("buttonDead", at);
    const bounces = this.#random.chance(this.#traits.bounces);
    const bouncesAfter = Math.round(this.#random.between(6, 60));
    return { isFelt, bouncesAfter: isFelt && bounces ? bouncesAfter : null };
  }

  /** What the slot makes of a thing that falls in; null where it sees nothing. */
  drop(at: number, isMetal: boolean): Deposit | null {
    const { capSignal, capSpread, capsMissed, reportsSignal, slotMissed } = this.#traits;
    const strength = Math.min(1, Math.max(0, capSignal * (1 + capSpread * this.#random.normal())));
    const faint = this.#random.between(0, 0.06);
    const isMissed = this.#random.chance(capsMissed);
    const isInBox = !this.#random.chance(slotMissed);
    const metal = isMetal && !isMissed && !this.#fault.is("detectorDeaf", at);
    if (!metal && !(this.hasSlotBeam && isInBox)) return null;
    return {
      metal,
      ...(reportsSignal && { signal: roundTo(0.001, metal ? Math.max(strength, 0.12) : faint) }),
      ...(this.hasSlotBeam && { chute: isInBox }),
    };
  }

  land(at: number): boolean {
    return this.#random.chance(this.#traits.landingsFelt) && !this.#fault.is("perchDead", at);
  }
}

export interface Deposit {
  readonly metal: boolean;
  readonly signal?: number;
  readonly chute?: boolean;
}

interface SensorTraits {
  readonly pecksFelt: number;
  readonly bounces: number;
  readonly capSignal: number;
  readonly capSpread: number;
  readonly capsMissed: number;
  readonly slotBeam: boolean;
  readonly slotMissed: number;
  readonly reportsSignal: boolean;
  readonly landingsFelt: number;
}

/** Common practice, no source. */
const drawTraits = (random: Random): SensorTraits => ({
  pecksFelt: random.between(0.55, 0.99),
  bounces: random.chance(0.5) ? random.logBetween(0.001, 0.03) : 0,
  capSignal: random.between(0.3, 0.9),
  capSpread: random.between(0.05, 0.25),
  capsMissed: random.logBetween(0.002, 0.04),
  slotBeam: random.chance(0.6),
  slotMissed: random.logBetween(0.002, 0.04),
  reportsSignal: random.chance(0.6),
  landingsFelt: random.between(0.75, 0.99),
});
