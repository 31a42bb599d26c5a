import { days, type Instant, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import type { Portion } from "../../../server/domain/report.ts";
import type { FeederSettings, FittedSensors } from "../../../server/domain/settings.ts";
import { grams, milliamps } from "../../../server/domain/units.ts";

/** The feeder "Rowan" of Alder Croft: two kilograms, eight grams a portion, all sensors unless a test takes one away. */
export function rowanSettings(
  sensors: Partial<FittedSensors> = {},
  more: Partial<FeederSettings> = {},
): FeederSettings {
  return {
    name: "Rowan",
    practice: false,
    place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
    zone: "Europe/Stockholm",
    food: "peanuts",
    hopperCapacity: grams(2_000),
    portionMass: grams(8),
    sensors: { button: true, detector: true, chute: true, perch: true, scale: true, ...sensors },
    battery: "none",
    reportEvery: seconds(60),
    foodWarningAhead: days(2),
    ...more,
  };
}

export const dawn = instantOf("2026-11-02T06:00:00Z"); // a Monday
export const minuteAfter = (at: Instant, count: number): Instant => (at + minutes(count)) as Instant;

export type GivenPortion = Portion & { readonly recordedAt: Instant };

export const portionAt = (at: Instant, more: Partial<Portion> = {}): GivenPortion => ({
  kind: "portion",
  cause: "timer",
  paysFor: null,
  motorRan: seconds(0.9),
  meanCurrent: milliamps(240),
  peakCurrent: milliamps(610),
  chuteCount: 3,
  lowestSupply: null,
  ...more,
  recordedAt: at,
});
