import type { Bird } from "./bird.ts";
import type { BirdToday } from "./birdToday.ts";
import type { Conditions } from "./livedDay.ts";
import type { SiteTraits } from "./traits.ts";
import type { DayWeather } from "./weather.ts";

/** What is settled before a day at the feeder begins. */
export interface DayPlan {
  readonly conditions: Conditions;
  readonly traits: SiteTraits;
  readonly weather: DayWeather;
  readonly light: { readonly from: number; readonly to: number };
  readonly birds: readonly Bird[]; // that are about today
  readonly coming: number; // factor on all numbers: season and the day's mood
  readonly chanceShare: number; // of today's bouts that hold the act by accident
  readonly vainPress: number; // factor on presses where presses are no longer paid
}

/** A bout that had the means for an act, or a free portion: what a test needs to hold `actShare` against. */
export interface Trial {
  readonly at: number;
  readonly expected: number; // probability just before it
  readonly happened: boolean;
}

export interface DayOutcome {
  readonly birds: readonly BirdToday[];
  readonly bouts: readonly Trial[];
  readonly portions: readonly Trial[];
  readonly boutCount: number; // with or without the means
  readonly expectedBouts: number;
  readonly shareAtBegin: number; // of the act, before anything has happened today
}

/** From a local day's start the birds are up to the hour 22.5, also where the night stays light. */
export const wakingHours = { from: 2.5, to: 22.5 };
