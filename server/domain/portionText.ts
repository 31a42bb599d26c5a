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
  const source = sensors.scale ? "measured by the scale" : "calculated from your refills";
  if (isAssumed(settings, "portionMass")) {
    return learntText === enteredText
      ? `Portion weight not entered. ${enteredText} is assumed.`
      : `A portion weighs about ${learntText}, ${source}. Portion weight not entered.`;
  }
  const pieces = piecesText(settings);
  if (learntText === enteredText) return `A portion is counted as ${enteredText} (${pieces ?? "entered"}).`;
  return `A portion weighs about ${learntText}, ${source} (${pieces === null ? "entered" : pieces}: ${enteredText}).`;
}

/** "5 pieces" where the entered weight follows from their number. */
function piecesText({ portionMass, foodKind, grainsPerPortion }: FeederSettings): string | null {
  if (foodKind === undefined || grainsPerPortion === undefined) return null;
  if (typicalPortion(foodKind, grainsPerPortion) !== portionMass) return null;
  return grainsPerPortion === 1 ? "1 piece" : `${grainsPerPortion} pieces`;
}

/** Two figures are all that a portion is good for: "0.35 g", "1.5 g", "12 g". */
const portionGramsText = (mass: number): string => `${Number(mass.toPrecision(2))} g`;
