import type { FeederState } from "./feeder.ts";
import { foodWords } from "./hopper/foodWords.ts";
import { type EmptyForecast, forecastEmpty } from "./hopper/runOut.ts";
import type { Instant } from "./instant.ts";
import { silentFrom } from "./silence/feederSilence.ts";

/** How long the food lasts, in numbers and in words: one value, so that no two places can tell it differently. */
export interface FoodOutlook {
  readonly forecast: EmptyForecast;
  readonly words: string;
}

/** For every screen, digest and letter. While a feeder is silent nobody sees what is eaten, so nothing is foretold. */
export function foodOutlook({ hopper, settings, link }: Outlooked, now: Instant): FoodOutlook {
  const silent = silentFrom(link, settings);
  const forecast: EmptyForecast =
    silent !== null && now >= silent ? { kind: "unknown", missing: "reports" } : forecastEmpty(hopper, settings, now);
  return { forecast, words: foodWords(forecast, hopper, settings, now) };
}

type Outlooked = Pick<FeederState, "hopper" | "settings" | "link">;
