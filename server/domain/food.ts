import { texts } from "../text/index.ts";
import { type Grams, grams } from "./units.ts";

/**
 * What corvids are usually given, by its common name, and what one piece of it weighs.
 *
 * The masses are from memory and common practice, no source: kernels differ by variety and kibble by maker, easily by half
 * as much again. They are only a first guess; weighing ten portions of one's own food is better, and a scale
 * learns the rest.
 */
export const foods = {
  peanutHalves: { name: texts.food.names.peanutHalves, pieceMass: grams(0.35) },
  peanutWhole: { name: texts.food.names.peanutWhole, pieceMass: grams(0.7) },
  catKibble: { name: texts.food.names.catKibble, pieceMass: grams(0.3) },
  dogKibble: { name: texts.food.names.dogKibble, pieceMass: grams(0.8) },
  sunflowerHearts: { name: texts.food.names.sunflowerHearts, pieceMass: grams(0.05) },
  driedMealworms: { name: texts.food.names.driedMealworms, pieceMass: grams(0.04) },
  maize: { name: texts.food.names.maize, pieceMass: grams(0.3) },
  /** The mass of its pieces is unknown. */
  other: { name: texts.food.names.other, pieceMass: null },
} as const satisfies Record<string, { readonly name: string; readonly pieceMass: Grams | null }>;

export type FoodKind = keyof typeof foods;
export const foodKinds = Object.keys(foods) as readonly FoodKind[];

/** What so many pieces weigh together, to a hundredth of a gram; null where the mass of a piece is unknown. */
export function typicalPortion(food: FoodKind, grains: number): Grams | null {
  const { pieceMass } = foods[food];
  return pieceMass === null ? null : grams(Math.round(100 * grains * pieceMass) / 100);
}
