import type { FoodKind } from "../food.ts";
import { type Grams, grams } from "../units.ts";

/**
 * How much a site's food may be, by what its birds burn. Field metabolic rate of passerines: 10.4 M^0.68 kJ a day, M in grams (Nagy, Girard &
 * Brown 1999, Annu. Rev. Nutr. 19:247; coefficients from memory; single birds scatter by about 40 %). That our food is a supplement of at most
 * 10 to 20 % is common practice, no source. Which bird eats how much is unknown: no sensor tells them apart.
 */
export const fieldMetabolicRate = (birdGrams: number): number => 10.4 * birdGrams ** 0.68;

/** Masses of adults, rounded; from memory, field guides differ by 10 to 20 %. */
export const speciesMass = {
  jackdaw: 240,
  magpie: 220,
  jay: 165,
  hoodedCrow: 500,
  carrionCrow: 500,
  rook: 460,
  raven: 1_200,
} as const;
export type Species = keyof typeof speciesMass;

export const speciesNames = Object.keys(speciesMass) as readonly Species[];

/** Energy of the food as eaten, kJ/g: peanuts ±3 %, kibble ±10 %, the others ±15 %; from memory, the label counts. Null: not known. */
export const foodEnergy = {
  peanutHalves: 23.7,
  peanutWhole: 23.7,
  catKibble: 16,
  dogKibble: 15,
  sunflowerHearts: 24,
  driedMealworms: 21,
  maize: 15,
  other: null,
} as const satisfies Record<FoodKind, number | null>;

/** In hard frost birds burn more: a ration may be raised by as much, common practice, no source. */
export const frostRaise = 1.5;

export interface RationRequest {
  readonly birds: readonly { readonly species: Species; readonly count: number }[];
  readonly energyPerGram: number;
  readonly share: number; // of their field metabolic rate, 0.1 to 0.2
}

/** The most in a day for the whole site. */
export function rationFor({ birds, energyPerGram, share }: RationRequest): Grams {
  const energy = birds.reduce((sum, { species, count }) => sum + count * fieldMetabolicRate(speciesMass[species]), 0);
  return grams((share * energy) / energyPerGram);
}
