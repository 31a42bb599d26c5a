import type { LoggedSettings } from "../../contract/feederLog.ts";
import type { FeederSettings } from "../../domain/settings.ts";
import { settingsRequestOf, withSettings } from "./requestedSettings.ts";

/** A feeder's settings as its log has them: what the keeper entered, and what it has from its yard. */

/** All of them: `withLoggedSettings` makes the same settings again from any earlier ones. */
export const loggedSettings = (settings: FeederSettings): LoggedSettings => ({
  feeding: null, // where there is none: an earlier entry may have had one
  ...settingsRequestOf(settings),
  zone: settings.zone,
  place: settings.place,
  practice: settings.practice,
  detectsSensors: settings.detectsSensors ?? false,
  ...(settings.imported ? { imported: true } : {}),
});

/** @param change how what the keeper entered changes the earlier settings. */
export function withLoggedSettings(
  settings: FeederSettings,
  request: LoggedSettings,
  change = withSettings,
): FeederSettings {
  const { zone = settings.zone, place = settings.place, practice = settings.practice } = request;
  const { detectsSensors: detectedBefore = false, ...changed } = change(settings, request);
  const { detectsSensors = detectedBefore } = request;
  const origin = request.imported === true || settings.imported === true ? { imported: true as const } : {};
  return { ...changed, zone, place, practice, ...origin, ...(detectsSensors ? { detectsSensors } : {}) };
}
