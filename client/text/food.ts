import type { FeederView, FoodView } from "../../server/contract/api.ts";

type Settings = FeederView["settings"];
type FoodKind = FoodView["kind"];

/** What the keeper has just put into the form, as far as it can be understood; undefined where nothing stands. */
export interface PortionInput {
  readonly kind: FoodKind | "";
  readonly pieces: number | undefined;
  readonly tenGrams: number | undefined;
}

/** What stands in the list of foods at first: the chosen kind, or "other" where only words were ever said. */
export const initialFoodKind = ({ foodKind, food }: Partial<Settings>): FoodKind | "" =>
  foodKind ?? (food === undefined ? "" : "other");

/**
 * What a portion will count as once this is written down: told while it is filled in, so that nothing comes as a surprise.
 * Empty where nothing would change.
 */
export function portionPreview(said: PortionInput, saved: Partial<Settings>, foods: readonly FoodView[]): string {
  const { kind, pieces: grains, tenGrams } = said;
  if (tenGrams !== undefined && tenGrams > 0) {
    return `A portion then counts as ${gramsText(tenGrams / 10)}, as weighed.`;
  }
  const anew = kind !== initialFoodKind(saved) || grains !== saved.grainsPerPortion;
  if (grains === undefined || grains < 1 || kind === "" || !anew)
    return saved.portionGrams === undefined ? unknownPortionText : "";
  const piece = foods.find((food) => food.kind === kind)?.pieceGrams ?? null;
  if (piece === null) return "What such a piece weighs isn't known here: weigh ten portions.";
  const pieces = grains === 1 ? "1 piece" : `${grains} pieces`;
  return `${pieces} of usually ${gramsText(piece)}: a portion then counts as about ${gramsText(grains * piece)}, until you weigh it.`;
}

const unknownPortionText = "Until you say, a portion is taken to be a few small pieces.";

/** Two figures are all that a portion is good for. */
const gramsText = (mass: number) => `${Number(mass.toPrecision(2))} g`;
