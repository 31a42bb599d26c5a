import { isAssumed } from "./assumedSettings.ts";
import { typicalPortion } from "./food.ts";
import type { FeederSettings } from "./settings.ts";
import type { Grams } from "./units.ts";

/**
 * What a portion weighs, as it has turned out, beside what the keeper said: "A portion weighs about 1.6 g by the scale (you
 * said 1.5 g)." `learnt` in grams. Without a scale only what the keeper tells of refills and levels can have taught it.
 */
export function portionText(learnt: Grams, settings: FeederSettings): string {
  const { portionMass, foodKind, grainsPerPortion, sensors } = settings;
  const countedText =
    foodKind !== undefined &&
    grainsPerPortion !== undefined &&
    typicalPortion(foodKind, grainsPerPortion) === portionMass
      ? `reckoned from ${grainsPerPortion === 1 ? "1 piece" : `${grainsPerPortion} pieces`}`
      : null;
  const [learntText, enteredText] = [portionGramsText(learnt), portionGramsText(portionMass)];
  if (isAssumed(settings, "portionMass")) {
    return learntText === enteredText
      ? `Nobody has said what a portion weighs. It is taken to be ${enteredText}, as is usual.`
      : `A portion weighs about ${learntText} by ${sensors.scale ? "the scale" : "your refills"}. Nobody has said what it weighs.`;
  }
  if (learntText === enteredText) return `A portion counts as ${enteredText}, ${countedText ?? "as you said"}.`;
  return `A portion weighs about ${learntText} by ${sensors.scale ? "the scale" : "your refills"} (${countedText === null ? `you said ${enteredText}` : `${enteredText} ${countedText}`}).`;
}

/** Two figures are all that a portion is good for: "0.35 g", "1.5 g", "12 g". */
const portionGramsText = (mass: number): string => `${Number(mass.toPrecision(2))} g`;
