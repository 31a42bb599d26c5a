import type { LoggedSettings } from "../../contract/feederLog.ts";
import type { FeederSettings } from "../../domain/settings.ts";
import { settingsRequestOf, withSettings } from "./requestedSettings.ts";

/** A feeder's settings as its log says them: the keeper's words, and what its yard gives it. */

/** All of them: `withLogged` makes the very same again from whatever stood before. */
export const loggedSettings = (settings: FeederSettings): LoggedSettings => ({
  ...settingsRequestOf(settings),
  zone: settings.zone,
  place: settings.place,
  practice: settings.practice,
  detectsSensors: settings.detectsSensors ?? false,
});

/** @param taken how the keeper's own words change what stood before. */
export function withLoggedSettings(
  settings: FeederSettings,
  request: LoggedSettings,
  taken = withSettings,
): FeederSettings {
  const { zone = settings.zone, place = settings.place, practice = settings.practice } = request;
  const { detectsSensors: noticing = false, ...told } = taken(settings, request);
  const { detectsSensors: noticesSensors = noticing } = request;
  return { ...told, zone, place, practice, ...(noticesSensors ? { detectsSensors: noticesSensors } : {}) };
}
