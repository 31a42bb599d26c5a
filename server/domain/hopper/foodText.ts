import { gramsText, portionGramsText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { isAssumed } from "../assumedSettings.ts";
import type { Instant } from "../instant.ts";
import { dayPartText } from "../localTime.ts";
import type { FeederSettings } from "../settings.ts";
import { type EmptyForecast, runOutText } from "./emptyForecast.ts";
import type { HopperState } from "./level.ts";

/** How long the food lasts as text, with the assumptions of the forecast. */
export function foodText(forecast: EmptyForecast, hopper: HopperState, settings: FeederSettings, now: Instant): string {
  const withoutAssumptions = runOutText(forecast, settings.zone, now);
  if (forecast.kind !== "emptyAt") return withoutAssumptions;
  const { emptySince } = hopper;
  // What may still come isn't worth a forecast any more.
  if (emptySince !== null)
    return forecast.p90 <= now
      ? withoutAssumptions
      : texts.food.asGoodAsEmptySince(dayPartText(emptySince, settings.zone, now));
  const [one, other] = assumedFoodSettings(hopper, settings).map((setting) => assumedTexts[setting](settings));
  if (one === undefined) return withoutAssumptions;
  const text = runOutText(forecast, settings.zone, now, true);
  return other === undefined ? texts.food.assuming(text, one) : texts.food.assumingBoth(text, one, other);
}

export type AssumedFoodSetting = "portionMass" | "hopperCapacity";

/** The settings that level and forecast rest on and that weren't entered. A scale measures both. */
export function assumedFoodSettings(hopper: HopperState, settings: FeederSettings): readonly AssumedFoodSetting[] {
  if (hopper.weighedAt !== null) return [];
  return (["portionMass", "hopperCapacity"] as const).filter((setting) => isAssumed(settings, setting));
}

const assumedTexts: Readonly<Record<AssumedFoodSetting, (settings: FeederSettings) => string>> = {
  portionMass: ({ portionMass }) => texts.food.assumed.portionMass(portionGramsText(portionMass)),
  hopperCapacity: ({ hopperCapacity }) => texts.food.assumed.hopperCapacity(gramsText(hopperCapacity)),
};
