import { isHardFrost } from "../../domain/digest/seasonWeather.ts";
import type { FeederState } from "../../domain/feeder.ts";
import { hours, type Instant } from "../../domain/instant.ts";
import { localDateOf } from "../../domain/localTime.ts";
import type { Place } from "../../domain/settings.ts";
import { withoutStuckReadings } from "../../domain/silence/stuckReadings.ts";
import { shownReminder } from "../../domain/training/seasonReminders.ts";
import { texts } from "../../text/index.ts";

interface SeasonSite {
  readonly place: Place | null;
  readonly zone: string;
}

/** One quiet line for a page; null: nothing in particular. Whether a day was wet and warm is known to the digest alone. */
export function seasonText({ place, zone }: SeasonSite, feeders: readonly FeederState[], now: Instant): string | null {
  const air = feeders.flatMap(({ latestReadings, sensors }) => {
    if (latestReadings === null || now - latestReadings.at > hours(3)) return [];
    const { air: outside, inside } = withoutStuckReadings(latestReadings.readings, sensors.constantReadings);
    return outside ?? inside ?? [];
  });
  const weather = { hardFrost: isHardFrost(air), wetWarm: false };
  const reminder = shownReminder(place, localDateOf(now, zone), weather);
  return reminder === null ? null : texts.season.reminders[reminder];
}
