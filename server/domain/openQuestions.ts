import { texts } from "../text/index.ts";
import type { FeederState } from "./feeder.ts";
import { assumedFoodSettings } from "./hopper/foodText.ts";

/** What only a keeper can enter and the food forecast needs; each is asked for until it is entered. */
export interface OpenQuestion {
  readonly text: string; // a whole sentence
  readonly answerAt: "settings" | "refill"; // where it can be entered
}

export function openQuestions({ hopper, settings, reporting }: FeederState): readonly OpenQuestion[] {
  if (reporting.kind === "neverReported" || (settings.placement ?? "inGarden") !== "inGarden") return [];
  const level: readonly OpenQuestion[] = hopper.isKnown
    ? []
    : [{ text: texts.openQuestions.level, answerAt: "refill" }];
  const [assumed, other] = assumedFoodSettings(hopper, settings);
  if (assumed === undefined) return level;
  return [...level, { text: texts.openQuestions[other === undefined ? assumed : "both"], answerAt: "settings" }];
}

/** The page on which a keeper answers it. */
export function questionPage(feeder: string, { answerAt }: OpenQuestion): string {
  const id = encodeURIComponent(feeder);
  return answerAt === "refill" ? `/feeders/${id}/refill` : `/feeders/${id}/settings`;
}
