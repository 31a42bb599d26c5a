import { days, seconds } from "../../server/domain/instant.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { grams } from "../../server/domain/units.ts";

/** The feeder Rowan in the invented yard Alder Croft: all sensors built in, a lead-acid battery, a report a minute. */
export const rowanSettings: FeederSettings = {
  name: "Rowan",
  practice: false,
  place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
  zone: "Europe/Stockholm",
  food: "peanuts",
  hopperCapacity: grams(1_500),
  portionMass: grams(2),
  sensors: { button: true, detector: true, chute: true, perch: true, scale: true },
  battery: "leadAcid",
  reportEvery: seconds(60),
  foodWarningAhead: days(2),
};
