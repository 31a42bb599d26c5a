import type { Random } from "./random.ts";

/** What is in the hopper: whole pieces, each of its own mass. */
export interface Food {
  readonly kind: "peanutWhole" | "peanutHalves" | "maize" | "other"; // as the keeper's settings name it
  readonly words: string;
  readonly pieceGrams: number;
  readonly pieceSpread: number; // standard deviation by mean
  readonly piecesPerPortion: number; // at a hopper that is half full, in dry weather
}

/** Masses of single pieces are from memory; their spreads are those of sorted and of unsorted goods, common practice, no source. */
const kinds = [
  { kind: "peanutWhole", words: "peanut kernels", grams: [0.45, 0.95], spread: [0.12, 0.25], pieces: [2.6, 12] },
  { kind: "peanutHalves", words: "peanut halves", grams: [0.22, 0.45], spread: [0.15, 0.3], pieces: [3, 14] },
  { kind: "maize", words: "whole maize", grams: [0.26, 0.4], spread: [0.1, 0.2], pieces: [3, 15] },
  { kind: "other", words: "peanuts in the shell", grams: [1.6, 2.9], spread: [0.2, 0.35], pieces: [2.3, 5] },
  { kind: "other", words: "hazelnut kernels", grams: [0.8, 1.4], spread: [0.12, 0.22], pieces: [2.4, 8] },
] as const;

export function drawFood(random: Random): Food {
  const { kind, words, grams, spread, pieces } = random.pick(kinds);
  return {
    kind,
    words,
    pieceGrams: random.between(grams[0], grams[1]),
    pieceSpread: random.between(spread[0], spread[1]),
    piecesPerPortion: random.logBetween(pieces[0], pieces[1]),
  };
}
