import { days, minutes } from "../../../server/domain/instant.ts";
import type { Readings } from "../../../server/domain/report.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { grams } from "../../../server/domain/units.ts";

/** The feeder Larch in the invented yard Alder Croft, with all that can be fitted. */
export const larchSettings: FeederSettings = {
  name: "Larch",
  practice: false,
  place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
  zone: "Europe/Stockholm",
  food: "peanut halves",
  hopperCapacity: grams(2_000),
  portionMass: grams(4),
  sensors: { button: true, detector: true, chute: true, perch: true, scale: true },
  battery: "leadAcid",
  reportEvery: minutes(1),
  foodWarningAhead: days(2),
};

export const emptyReadings: Readings = {
  hopper: null,
  air: null,
  inside: null,
  lid: null,
  humidity: null,
  supply: null,
  battery: null,
  batteryTemperature: null,
  charge: null,
  signalDbm: null,
  spooled: null,
  counts: { button: null, detector: null, chute: null, perch: null },
  paused: null,
  planVersion: null,
};
