import type { Random } from "./random.ts";

type FoodKind =
  | "peanutHalves"
  | "peanutWhole"
  | "catKibble"
  | "dogKibble"
  | "sunflowerHearts"
  | "driedMealworms"
  | "maize";

export interface Component {
  readonly kind: FoodKind | null; // null: what the server has no name for
  readonly name: string;
  readonly pieceGrams: number;
  readonly spread: number; // of the logarithm of a piece's mass
  readonly share: number; // of the mixture's mass
}

export interface Mixture {
  readonly components: readonly Component[];
  readonly meanPiece: number;
  readonly largestPiece: number;
  /** How strongly shaking parts the grains. */
  readonly parting: number;
  pieceAt(fill: number): number;
}

/** Masses of pieces from memory; varieties and makers differ by half. */
const grains: readonly Omit<Component, "share">[] = [
  { kind: "catKibble", name: "cat kibble", pieceGrams: 0.28, spread: 0.18 },
  { kind: "dogKibble", name: "dog kibble", pieceGrams: 0.75, spread: 0.2 },
  { kind: "maize", name: "maize", pieceGrams: 0.32, spread: 0.2 },
  { kind: "peanutHalves", name: "peanut halves", pieceGrams: 0.34, spread: 0.25 },
  { kind: "sunflowerHearts", name: "sunflower hearts", pieceGrams: 0.05, spread: 0.25 },
  { kind: null, name: "wheat", pieceGrams: 0.042, spread: 0.2 },
  { kind: null, name: "insect pellets", pieceGrams: 0.12, spread: 0.3 },
  { kind: null, name: "dried fruit", pieceGrams: 0.45, spread: 0.4 },
];

export function drawMixture(random: Random): Mixture {
  const count = random.pick([1, 1, 2, 2, 3]);
  const left = [...grains];
  const chosen = Array.from({ length: count }, () => left.splice(Math.floor(random.unit() * left.length), 1)).flat();
  const weights = chosen.map(() => random.between(0.3, 1));
  const sum = weights.reduce((total, weight) => total + weight, 0);
  const components = chosen.map((grain, index) => ({
    ...grain,
    pieceGrams: grain.pieceGrams * random.logNormal(0.2),
    share: (weights[index] ?? 0) / sum,
  }));
  // Small first: shaking lets small grains sink between large ones (Rosato et al. 1987, from memory).
  components.sort((a, b) => a.pieceGrams - b.pieceGrams);
  const meanPiece = 1 / components.reduce((total, { share, pieceGrams }) => total + share / pieceGrams, 0);
  const largestPiece = components.at(-1)?.pieceGrams ?? meanPiece;
  const parting = random.between(0, 0.7);
  const draw = pieceSource(random, components, parting);
  return { components, meanPiece, largestPiece, parting, pieceAt: draw };
}

/** @returns what draws the mass of one piece, from a hopper that is full to `fill` */
function pieceSource(random: Random, components: readonly Component[], parting: number): (fill: number) => number {
  return (fill) => {
    let chosen = components[0] as Component;
    const tilt = parting * (fill - 0.5);
    let sum = 0;
    for (const [index, each] of components.entries()) {
      const place = components.length === 1 ? 0 : 1 - (2 * index) / (components.length - 1);
      const weight = (each.share / each.pieceGrams) * (1 + tilt * place);
      sum += weight;
      if (random.unit() * sum < weight) chosen = each;
    }
    return chosen.pieceGrams * random.logNormal(chosen.spread);
  };
}

export const mixtureName = ({ components }: Mixture): string => components.map(({ name }) => name).join(" and ");
