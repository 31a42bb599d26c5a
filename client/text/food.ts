import { gramsText } from "#text/amount.ts";
import * as text from "#text/food.ts";
import type { FeederView, FoodView } from "../../server/contract/api.ts";
import { roughNumberText } from "./format.ts";

type Settings = FeederView["settings"];
type FoodKind = FoodView["kind"];

/** What is in the form just now, as far as it can be read; undefined where a field is empty. */
export interface PortionInput {
  readonly kind: FoodKind | "";
  readonly pieces: number | undefined;
  readonly tenGrams: number | undefined;
}

/** The chosen kind at first, or "other" where only the name of a food was ever entered. */
export const initialFoodKind = ({ foodKind, food }: Partial<Settings>): FoodKind | "" =>
  foodKind ?? (food === undefined ? "" : "other");

/** The weight of a portion once this is saved, shown while it is entered. Empty where nothing would change. */
export function portionPreview(input: PortionInput, saved: Partial<Settings>, foods: readonly FoodView[]): string {
  const { kind, pieces, tenGrams } = input;
  if (tenGrams !== undefined && tenGrams > 0) return text.newWeightText(roughGramsText(tenGrams / 10));
  const isChanged = kind !== initialFoodKind(saved) || pieces !== saved.grainsPerPortion;
  if (pieces === undefined || pieces < 1 || kind === "" || !isChanged)
    return saved.portionGrams === undefined ? text.noValueText : "";
  const piece = foods.find((food) => food.kind === kind)?.pieceGrams ?? null;
  if (piece === null) return text.pieceUnknownText;
  return text.weightFromPiecesText(text.piecesText(pieces), roughGramsText(piece), roughGramsText(pieces * piece));
}

/** Two figures: a portion is no more exact. */
const roughGramsText = (mass: number) => gramsText(roughNumberText(mass));
