import type { FeederState } from "./feeder.ts";
import { type AssumedFoodSetting, assumedFoodSettings } from "./hopper/foodText.ts";

/** What only a keeper can enter and the food forecast needs; each is asked for until it is entered. */
export interface OpenQuestion {
  readonly text: string; // a whole sentence
  readonly answerAt: "settings" | "refill"; // where it can be entered
}

export function openQuestions({ hopper, settings, reporting }: FeederState): readonly OpenQuestion[] {
  if (reporting.kind === "neverReported" || (settings.placement ?? "inGarden") !== "inGarden") return [];
  const level: readonly OpenQuestion[] = hopper.isKnown
    ? []
    : [{ text: "Enter how much food is in the hopper, or enter a refill.", answerAt: "refill" }];
  const assumed = assumedFoodSettings(hopper, settings).map((setting) => assumedText[setting]);
  if (assumed.length === 0) return level;
  const values = assumed.length === 1 ? "a typical value" : "typical values";
  const text = `Enter ${assumed.join(" and ")}. Until then the forecast uses ${values}.`;
  return [...level, { text, answerAt: "settings" }];
}

const assumedText: Readonly<Record<AssumedFoodSetting, string>> = {
  portionMass: "the weight of a portion",
  hopperCapacity: "the hopper's capacity",
};

/** The page on which a keeper answers it. */
export function questionPage(feeder: string, { answerAt }: OpenQuestion): string {
  const id = encodeURIComponent(feeder);
  return answerAt === "refill" ? `/feeders/${id}/refill` : `/feeders/${id}/settings`;
}
