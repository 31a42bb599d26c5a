import type { FeederState } from "./feeder.ts";
import { type EmptyForecast, forecastEmpty } from "./hopper/emptyForecast.ts";
import { foodText } from "./hopper/foodText.ts";
import type { Instant } from "./instant.ts";
import { silenceBeginsAt } from "./silence/feederSilence.ts";

/** How long the food lasts, in numbers and as text: one value, so that all places show the same. */
export interface FoodOutlook {
  readonly forecast: EmptyForecast;
  readonly text: string;
}

/** For every screen, digest and e-mail. Without reports it is unknown what is eaten, so there is no forecast. */
export function foodOutlook({ hopper, settings, reporting }: OutlookInput, now: Instant): FoodOutlook {
  const silentFrom = silenceBeginsAt(reporting, settings);
  const forecast: EmptyForecast =
    silentFrom !== null && now >= silentFrom
      ? { kind: "unknown", missing: "reports" }
      : forecastEmpty(hopper, settings, now);
  return { forecast, text: foodText(forecast, hopper, settings, now) };
}

type OutlookInput = Pick<FeederState, "hopper" | "settings" | "reporting">;
