import { portionGramsText } from "../text/format.ts";
import { texts } from "../text/index.ts";
import { isAssumed } from "./assumedSettings.ts";
import { typicalPortion } from "./food.ts";
import type { FeederSettings } from "./settings.ts";
import type { Grams } from "./units.ts";

/**
 * The learnt weight of a portion beside the entered one: "A portion weighs about 1.6 g, measured by the scale (entered: 1.5 g)."
 * `learnt` in grams. Without a scale it is learnt from entered refills and levels.
 */
export function portionText(learnt: Grams, settings: FeederSettings): string {
  const { portionMass, sensors } = settings;
  const [learntText, enteredText] = [portionGramsText(learnt), portionGramsText(portionMass)];
  const source = sensors.scale ? "scale" : "refills";
  const text = texts.food.portion;
  if (isAssumed(settings, "portionMass")) {
    return learntText === enteredText ? text.onlyAssumed(enteredText) : text.learnt[source](learntText);
  }
  const entered = piecesText(settings) ?? text.entered;
  if (learntText === enteredText) return text.asEntered(enteredText, entered);
  return text.learntBesideEntered[source](learntText, entered, enteredText);
}

/** "5 pieces" where the entered weight follows from their number. */
function piecesText({ portionMass, foodKind, grainsPerPortion }: FeederSettings): string | null {
  if (foodKind === undefined || grainsPerPortion === undefined) return null;
  if (typicalPortion(foodKind, grainsPerPortion) !== portionMass) return null;
  return texts.food.portion.pieces(grainsPerPortion);
}
