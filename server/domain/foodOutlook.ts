import type { FeederState } from "./feeder.ts";
import { type EmptyForecast, forecastEmpty } from "./hopper/emptyForecast.ts";
import { foodText } from "./hopper/foodText.ts";
import type { Instant } from "./instant.ts";
import { silenceBeginsAt } from "./silence/feederSilence.ts";

/** How long the food lasts, in numbers and in words: one value, so that no two places can tell it differently. */
export interface FoodOutlook {
  readonly forecast: EmptyForecast;
  readonly text: string;
}

/** For every screen, digest and letter. While a feeder is silent nobody sees what is eaten, so nothing is foretold. */
export function foodOutlook({ hopper, settings, reporting }: OutlookInput, now: Instant): FoodOutlook {
  const silentFrom = silenceBeginsAt(reporting, settings);
  const forecast: EmptyForecast =
    silentFrom !== null && now >= silentFrom
      ? { kind: "unknown", missing: "reports" }
      : forecastEmpty(hopper, settings, now);
  return { forecast, text: foodText(forecast, hopper, settings, now) };
}

type OutlookInput = Pick<FeederState, "hopper" | "settings" | "reporting">;
