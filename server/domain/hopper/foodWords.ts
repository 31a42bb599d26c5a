import { isAssumed } from "../assumed.ts";
import type { Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { roundedGrams } from "./amount.ts";
import type { HopperState } from "./level.ts";
import { type EmptyForecast, runOutWords } from "./runOut.ts";

/** How long the food lasts in words, with what the forecast rests on where nobody has said it. */
export function foodWords(
  forecast: EmptyForecast,
  hopper: HopperState,
  settings: FeederSettings,
  now: Instant,
): string {
  const words = runOutWords(forecast, settings.zone, now);
  if (forecast.kind !== "emptyAt" || hopper.emptySince !== null) return words;
  const rests = restsOnAssumed(hopper, settings).map((what) => usually[what](settings));
  // How sure it is holds for the birds and the portions' scatter, not for a weight that was only assumed.
  return rests.length === 0
    ? words
    : `${words.replace(/, 90 % sure$/, "")}, if ${rests.join(" and ")}, which nobody has said`;
}

export type AssumedOfFood = "portionMass" | "hopperCapacity";

/** What the level and the forecast rest on and nobody has said. A scale measures both. */
export function restsOnAssumed(hopper: HopperState, settings: FeederSettings): readonly AssumedOfFood[] {
  if (hopper.weighedAt !== null) return [];
  return (["portionMass", "hopperCapacity"] as const).filter((what) => isAssumed(settings, what));
}

const usually: Readonly<Record<AssumedOfFood, (settings: FeederSettings) => string>> = {
  portionMass: ({ portionMass }) => `a portion weighs the usual ${Number(portionMass.toPrecision(2))} g`,
  hopperCapacity: ({ hopperCapacity }) => `a full hopper holds the usual ${roundedGrams(hopperCapacity)}`,
};
