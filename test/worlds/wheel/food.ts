import type { Random } from "./random.ts";

/**
 * What is in the hopper: mixed food with two or three sizes of pieces. Sunflower seed 0.066 to 0.070 g (Isik and Izli, "Physical
 * properties of sunflower seeds", Int. J. Agric. Res. 2, 2007), its kernel 0.036 g (Santalla and Mascheroni, Biosystems Eng. 86,
 * 2003); maize, peanuts and kibble from memory.
 */
export interface FoodMix {
  readonly words: string;
  readonly foodKind: string; // as the settings have it: what the keeper takes for the main part
  readonly sizes: readonly PieceSize[]; // the small ones first
}

export interface PieceSize {
  readonly grams: number; // mean mass of a piece
  readonly share: number; // of the mass
}

const mixes: readonly [FoodMix, ...FoodMix[]] = [
  {
    words: "winter mix",
    foodKind: "other",
    sizes: [
      { grams: 0.04, share: 0.35 },
      { grams: 0.33, share: 0.35 },
      { grams: 0.45, share: 0.3 },
    ],
  },
  {
    words: "cat kibble and peanuts",
    foodKind: "catKibble",
    sizes: [
      { grams: 0.22, share: 0.65 },
      { grams: 0.45, share: 0.35 },
    ],
  },
  {
    words: "small and large kibble",
    foodKind: "dogKibble",
    sizes: [
      { grams: 0.3, share: 0.4 },
      { grams: 1.3, share: 0.6 },
    ],
  },
  {
    words: "whole peanuts and sunflower seed",
    foodKind: "peanutWhole",
    sizes: [
      { grams: 0.068, share: 0.45 },
      { grams: 0.95, share: 0.55 },
    ],
  },
  {
    words: "maize and sunflower hearts",
    foodKind: "maize",
    sizes: [
      { grams: 0.037, share: 0.3 },
      { grams: 0.32, share: 0.7 },
    ],
  },
];

/** No bag is mixed as the one before. */
export function drawMix(random: Random): FoodMix {
  const { sizes, ...mix } = random.pick(mixes);
  return { ...mix, sizes: sizes.map(({ grams, share }) => ({ share, grams: grams * random.factor(0.12) })) };
}

/** @returns the grams of each size in so much of this food */
export function pour(mix: FoodMix, grams: number, random: Random): number[] {
  const parts = mix.sizes.map(({ share }) => share * random.factor(0.15));
  const whole = parts.reduce((sum, part) => sum + part, 0);
  return parts.map((part) => (grams * part) / whole);
}
