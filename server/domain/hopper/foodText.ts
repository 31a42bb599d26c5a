import { isAssumed } from "../assumedSettings.ts";
import type { Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { type EmptyForecast, runOutText } from "./emptyForecast.ts";
import { gramsText } from "./gramsText.ts";
import type { HopperState } from "./level.ts";

/** How long the food lasts in words, with what the forecast rests on where nobody has said it. */
export function foodText(forecast: EmptyForecast, hopper: HopperState, settings: FeederSettings, now: Instant): string {
  const text = runOutText(forecast, settings.zone, now);
  if (forecast.kind !== "emptyAt" || hopper.emptySince !== null) return text;
  const assumptions = assumedFoodSettings(hopper, settings).map((setting) => assumedTexts[setting](settings));
  // How sure it is holds for the birds and the portions' scatter, not for a weight that was only assumed.
  return assumptions.length === 0
    ? text
    : `${text.replace(/, 90 % sure$/, "")}, if ${assumptions.join(" and ")}, which nobody has said`;
}

export type AssumedFoodSetting = "portionMass" | "hopperCapacity";

/** What the level and the forecast rest on and nobody has said. A scale measures both. */
export function assumedFoodSettings(hopper: HopperState, settings: FeederSettings): readonly AssumedFoodSetting[] {
  if (hopper.weighedAt !== null) return [];
  return (["portionMass", "hopperCapacity"] as const).filter((setting) => isAssumed(settings, setting));
}

const assumedTexts: Readonly<Record<AssumedFoodSetting, (settings: FeederSettings) => string>> = {
  portionMass: ({ portionMass }) => `a portion weighs the usual ${Number(portionMass.toPrecision(2))} g`,
  hopperCapacity: ({ hopperCapacity }) => `a full hopper holds the usual ${gramsText(hopperCapacity)}`,
};
