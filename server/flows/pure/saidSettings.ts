import type { z } from "zod";
import type { feederSettingsRequest } from "../../contract/api.ts";
import type { FeederSettings } from "../../domain/feeder.ts";
import { days, inDays, seconds } from "../../domain/instant.ts";
import { grams } from "../../domain/units.ts";

/** A feeder's settings in the keeper's own words, and what they mean. */

export type SaidSettings = z.infer<typeof feederSettingsRequest>;
/** What a keeper leaves out is not asked for: undefined here, never null. */
export type SomeSettings = { readonly [Name in keyof SaidSettings]?: SaidSettings[Name] | undefined };

/** What a first feeder usually is; the keeper says otherwise where it isn't so. Common practice, no source. */
export function usualSettings(yard: Pick<FeederSettings, "practice" | "place" | "zone">, name: string): FeederSettings {
  return {
    name,
    practice: yard.practice,
    place: yard.place,
    zone: yard.zone,
    food: "peanuts",
    hopperCapacity: grams(1_000),
    portionMass: grams(1.5),
    sensors: { button: true, detector: true, chute: true, perch: false, scale: false },
    noticesSensors: true,
    battery: "none",
    reportEvery: seconds(60),
    warnAhead: days(2),
  };
}

export function withSaid(settings: FeederSettings, said: SomeSettings): FeederSettings {
  return {
    ...settings,
    name: said.name ?? settings.name,
    food: said.food ?? settings.food,
    hopperCapacity: said.hopperCapacityGrams === undefined ? settings.hopperCapacity : grams(said.hopperCapacityGrams),
    portionMass: said.portionGrams === undefined ? settings.portionMass : grams(said.portionGrams),
    sensors: said.sensors ?? settings.sensors,
    battery: said.battery ?? settings.battery,
    reportEvery: said.reportEverySeconds === undefined ? settings.reportEvery : seconds(said.reportEverySeconds),
    warnAhead: said.warnAheadDays === undefined ? settings.warnAhead : days(said.warnAheadDays),
  };
}

/** The keeper changes what a feeder was added with: who says which sensors there are ends the noticing of others. */
export function changedSettings(settings: FeederSettings, said: SomeSettings): FeederSettings {
  const { noticesSensors: _, ...asTold } = settings;
  return withSaid(said.sensors === undefined ? settings : asTold, said);
}

/** And back: `withSaid` of these words gives these settings. */
export const saidOf = (settings: FeederSettings): SaidSettings => ({
  name: settings.name,
  food: settings.food,
  hopperCapacityGrams: settings.hopperCapacity,
  portionGrams: settings.portionMass,
  sensors: settings.sensors,
  battery: settings.battery,
  reportEverySeconds: settings.reportEvery / 1_000,
  warnAheadDays: inDays(settings.warnAhead),
});
