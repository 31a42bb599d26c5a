import { gramsText } from "../../text/format.ts";
import { isAssumed } from "../assumedSettings.ts";
import type { Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { type EmptyForecast, runOutText } from "./emptyForecast.ts";
import type { HopperState } from "./level.ts";

/** How long the food lasts as text, with the assumptions of the forecast. */
export function foodText(forecast: EmptyForecast, hopper: HopperState, settings: FeederSettings, now: Instant): string {
  const text = runOutText(forecast, settings.zone, now);
  if (forecast.kind !== "emptyAt" || hopper.emptySince !== null) return text;
  const assumptions = assumedFoodSettings(hopper, settings).map((setting) => assumedTexts[setting](settings));
  // The probability covers the birds and the portions' scatter, not a weight that was only assumed.
  return assumptions.length === 0
    ? text
    : `${text.replace(/^very likely /, "")} (assuming that ${assumptions.join(" and ")})`;
}

export type AssumedFoodSetting = "portionMass" | "hopperCapacity";

/** The settings that level and forecast rest on and that weren't entered. A scale measures both. */
export function assumedFoodSettings(hopper: HopperState, settings: FeederSettings): readonly AssumedFoodSetting[] {
  if (hopper.weighedAt !== null) return [];
  return (["portionMass", "hopperCapacity"] as const).filter((setting) => isAssumed(settings, setting));
}

const assumedTexts: Readonly<Record<AssumedFoodSetting, (settings: FeederSettings) => string>> = {
  portionMass: ({ portionMass }) => `a portion weighs ${Number(portionMass.toPrecision(2))} g`,
  hopperCapacity: ({ hopperCapacity }) => `a full hopper holds ${gramsText(hopperCapacity)}`,
};
