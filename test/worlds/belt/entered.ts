import { type LoggedSettings, loggedSettings } from "../../../server/contract/feederLog.ts";
import type { Parts } from "./parts.ts";

/** What this keeper enters about the feeder: roughly, wrongly by a third at times, or not at all. */
export function enteredSettings({ story, place, silo, belt, supply, chance }: Parts): LoggedSettings {
  const drawn = chance("settings");
  const { button, detector, chute, perch, scale } = story.sensors;
  const { food, capacity } = silo;
  const stated = belt.portionGrams * (drawn.happens(0.3) ? drawn.factorBetween(0.6, 1.6) : drawn.between(0.92, 1.08));
  const pieces = Math.round((belt.portionGrams / food.piece) * drawn.between(0.75, 1.3));
  const { latitude, longitude } = place;
  return loggedSettings.parse({
    name: "Rowan",
    zone: place.zone,
    place: drawn.happens(0.9) ? { latitudeDegrees: latitude, longitudeDegrees: longitude } : null,
    sensors: { button, detector, chute, perch, scale },
    ...(drawn.happens(0.75) && { food: food.words, foodKind: food.kind }),
    ...(drawn.happens(0.65) && { portionGrams: Math.round(10 * Math.min(100, Math.max(0.1, stated))) / 10 }),
    ...(drawn.happens(0.2) && { grainsPerPortion: Math.min(1_000, Math.max(1, pieces)) }),
    ...(drawn.happens(0.85) && {
      hopperCapacityGrams: Math.max(50, 50 * Math.round((capacity * drawn.between(0.85, 1.15)) / 50)),
    }),
    ...(drawn.happens(0.85) && { battery: supply.battery }),
    ...(drawn.happens(0.4) && { warnAheadDays: drawn.pick([1, 2, 3, 4]) }),
    reportEverySeconds: story.reportEverySeconds,
  });
}
