import type { FeederState } from "./feeder.ts";
import { type AssumedFoodSetting, assumedFoodSettings } from "./hopper/foodText.ts";

/** What only a keeper can say and what is told of the food rests on; each is asked for in one place, until it is said. */
export interface OpenQuestion {
  readonly text: string; // a whole sentence
  readonly answerAt: "settings" | "refill"; // where it can be said
}

export function openQuestions({ hopper, settings, reporting }: FeederState): readonly OpenQuestion[] {
  if (reporting.kind === "neverReported" || (settings.placement ?? "inGarden") !== "inGarden") return [];
  const level: readonly OpenQuestion[] = hopper.isKnown
    ? []
    : [{ text: "Say how much is in it: weigh it, or tell of a refill.", answerAt: "refill" }];
  const assumed = assumedFoodSettings(hopper, settings).map((what) => assumedText[what]);
  if (assumed.length === 0) return level;
  const weight = assumed.length === 1 ? "a usual weight" : "usual weights";
  const words = `Say ${assumed.join(" and ")}: how long the food lasts rests on ${weight} that nobody has confirmed.`;
  return [...level, { text: words, answerAt: "settings" }];
}

const assumedText: Readonly<Record<AssumedFoodSetting, string>> = {
  portionMass: "what a portion weighs",
  hopperCapacity: "how much a full hopper holds",
};
