import { type ActMet, type Bird, distanceResponse } from "./bird.ts";
import type { StageKind } from "./livedDay.ts";

/** How fast a full crop wants food again: in this time the fill falls to 1/e. Our choice. */
const digestionHours = 4;
/** Corvids hide what they can't eat (common practice, no source), so that a full bird still takes a little. */
const hoardGrams = 3;

/** One bird in the course of one day: how full it is, and what it has met with. */
export class BirdToday {
  readonly bird: Bird;
  readonly acts: ActMet[] = [];
  bouts = 0;
  boutsFed = 0;
  paidActsSeen = 0;
  private fillGrams = 0;
  private filledAt = 0;

  constructor(bird: Bird) {
    this.bird = bird;
  }

  /** 1: empty; 0.06: full. */
  hunger(at: number): number {
    return Math.max(0.06, 1 - this.fill(at) / this.bird.body.appetiteGrams) ** 0.8;
  }

  /** @returns grams that it takes of what lies there */
  eat(offered: number, at: number): number {
    const fill = this.fill(at);
    const taken = Math.min(offered, Math.max(0, this.bird.body.appetiteGrams - fill) + hoardGrams);
    this.fillGrams = Math.min(this.bird.body.appetiteGrams, fill + taken);
    this.filledAt = at;
    return taken;
  }

  /** A hungry bird acts more often, and one that sees food in the dish takes that first. */
  actProbability(stage: StageKind, distanceCm: number, at: number, seesFood: boolean): number {
    const { body, mind } = this.bird;
    const will = (0.35 + 0.65 * this.hunger(at)) * (seesFood ? 0.5 : 1);
    return Math.min(1, mind.acts(stage) * distanceResponse(body, stage, distanceCm) * will);
  }

  private fill(at: number): number {
    return this.fillGrams * Math.exp(-Math.max(0, at - this.filledAt) / (digestionHours * 3_600_000));
  }
}
