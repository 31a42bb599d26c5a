import type { Chance } from "./chance.ts";

/** What is given. Masses and bulk densities: from memory. */
export interface Food {
  readonly kind: "peanutHalves" | "peanutWhole" | "catKibble" | "driedMealworms" | "maize" | "other";
  readonly words: string;
  readonly piece: number; // grams, mean
  readonly unlike: number; // standard deviation of pieces, by the mean
  readonly density: number; // g/cm³, poured
  readonly arches: number; // how readily it holds itself up, 1 usual
}

const foods: readonly Food[] = [
  { kind: "other", words: "mixed nuts", piece: 0.85, unlike: 0.6, density: 0.52, arches: 1.3 },
  { kind: "catKibble", words: "dry cat food", piece: 0.24, unlike: 0.2, density: 0.38, arches: 0.7 },
  { kind: "driedMealworms", words: "dried mealworms", piece: 0.032, unlike: 0.4, density: 0.16, arches: 1.8 },
  { kind: "other", words: "cracked corn", piece: 0.07, unlike: 0.9, density: 0.66, arches: 1.2 }, // with fines
  { kind: "peanutWhole", words: "peanuts", piece: 0.72, unlike: 0.25, density: 0.6, arches: 1 },
  { kind: "peanutHalves", words: "peanut halves", piece: 0.36, unlike: 0.3, density: 0.58, arches: 1 },
  { kind: "maize", words: "maize", piece: 0.31, unlike: 0.15, density: 0.72, arches: 0.6 },
  { kind: "other", words: "acorns and hazelnuts", piece: 1.6, unlike: 0.45, density: 0.5, arches: 1.1 },
];

/** Each sack differs a little from the next; a fifth of the keepers mixes two kinds. */
export function drawFood(chance: Chance): Food {
  const first = chance.pick(foods);
  const own = { ...first, piece: first.piece * chance.spread(0.12) };
  if (!chance.happens(0.2)) return own;
  const second = chance.pick(foods);
  const part = chance.between(0.2, 0.5); // of the pieces
  const piece = own.piece * (1 - part) + second.piece * part;
  const between = (part * (1 - part) * (own.piece - second.piece) ** 2) / piece ** 2;
  return {
    kind: "other",
    words: second.words === first.words ? first.words : `${first.words} with ${second.words}`,
    piece,
    unlike: Math.sqrt(between + (0.5 * (first.unlike + second.unlike)) ** 2),
    density: 0.5 * (first.density + second.density),
    arches: Math.max(first.arches, second.arches),
  };
}
