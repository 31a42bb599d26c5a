import { days, seconds } from "../../server/domain/instant.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { grams } from "../../server/domain/units.ts";

/** A fully fitted feeder in the invented yard Alder Croft, with the differences that a test needs. */
export const feederSettings = (different: Partial<FeederSettings> = {}): FeederSettings => ({
  name: "Rowan",
  practice: false,
  place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
  zone: "Europe/Stockholm",
  food: "peanuts",
  hopperCapacity: grams(2_000),
  portionMass: grams(5),
  sensors: { button: true, detector: true, chute: true, perch: true, scale: false },
  battery: "none",
  reportEvery: seconds(60),
  foodWarningAhead: days(2),
  ...different,
});
