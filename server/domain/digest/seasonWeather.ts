import type { Instant } from "../instant.ts";
import { withoutStuckReadings } from "../silence/stuckReadings.ts";
import type { SeasonWeather } from "../training/seasonReminders.ts";
import type { Celsius } from "../units.ts";
import { type DigestFeeder, isInGarden } from "./digestFeeder.ts";
import { nightForecast } from "./nightForecast.ts";
import { medianOf } from "./usualWeek.ts";
import { hardBelow } from "./weatherText.ts";

/** Hard frost of the coming night, and a wet, warm day behind it. Without sensors neither is known, and neither is stated. */
export function seasonWeather(feeders: readonly DigestFeeder[], now: Instant): SeasonWeather {
  const inGarden = feeders.filter(({ state }) => isInGarden(state));
  const lowest = inGarden.flatMap((feeder) => nightForecast(feeder, now)?.lowest ?? []);
  return {
    hardFrost: isHardFrost(lowest),
    wetWarm: inGarden.some(isWetAndWarm),
  };
}

/** By the median of the feeders, as in the line about the night: one thermometer alone doesn't count. */
export const isHardFrost = (air: readonly Celsius[]): boolean => air.length > 0 && medianOf(air) <= hardBelow;

/**
 * Moulds of stored food need damp air, and grow with warmth. From memory: grain in balance with air of more than about 70 % relative
 * humidity goes mouldy. Nights are damp anyway, so the mean of a day counts, and asks for more; both limits are our own choice.
 */
function isWetAndWarm({ state, recentReadings }: DigestFeeder): boolean {
  const felt = recentReadings.flatMap(({ readings }) => {
    const { air, inside, humidity } = withoutStuckReadings(readings, state.sensors.constantReadings);
    const celsius = air ?? inside;
    return celsius === null || humidity === null ? [] : [{ celsius, humidity }];
  });
  if (felt.length < readingsNeeded) return false;
  const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  return mean(felt.map(({ celsius }) => celsius)) >= warmFrom && mean(felt.map(({ humidity }) => humidity)) >= dampFrom;
}
const readingsNeeded = 12;
const warmFrom = 12;
const dampFrom = 85;
