import type { z } from "zod";
import type { feederSettingsRequest } from "../../contract/api.ts";
import type { FeederSettings } from "../../domain/feeder.ts";
import { type FoodKind, foods, typicalPortion } from "../../domain/food.ts";
import { days, inDays, seconds } from "../../domain/instant.ts";
import { type Grams, grams } from "../../domain/units.ts";

/** A feeder's settings in the keeper's own words, and what they mean. */

export type SaidSettings = z.infer<typeof feederSettingsRequest>;
/** What a keeper leaves out is not asked for: undefined here, never null. */
export type SomeSettings = { readonly [Name in keyof SaidSettings]?: SaidSettings[Name] | undefined } & {
  readonly tenPortionsGrams?: number | undefined; // weighed together
};

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
    warnAhead: days(1),
  };
}

export function withSaid(settings: FeederSettings, said: SomeSettings): FeederSettings {
  const food = foodSaid(settings, said);
  const grains = said.grainsPerPortion ?? settings.grainsPerPortion;
  const duty = said.duty ?? settings.duty;
  return {
    ...settings,
    name: said.name ?? settings.name,
    food: food.words,
    ...(food.kind === undefined ? {} : { foodKind: food.kind }),
    ...(grains === undefined ? {} : { grainsPerPortion: grains }),
    ...(duty === undefined ? {} : { duty }),
    hopperCapacity: said.hopperCapacityGrams === undefined ? settings.hopperCapacity : grams(said.hopperCapacityGrams),
    portionMass: portionSaid(settings, said, food.kind, grains),
    sensors: said.sensors ?? settings.sensors,
    battery: said.battery ?? settings.battery,
    reportEvery: said.reportEverySeconds === undefined ? settings.reportEvery : seconds(said.reportEverySeconds),
    warnAhead: said.warnAheadDays === undefined ? settings.warnAhead : days(said.warnAheadDays),
  };
}

interface SaidFood {
  readonly words: string;
  readonly kind: FoodKind | undefined;
}

function foodSaid(settings: FeederSettings, said: SomeSettings): SaidFood {
  const { foodKind: kind, food: words } = said;
  if (kind !== undefined) {
    if (words !== undefined) return { words, kind };
    return { words: kind === settings.foodKind ? settings.food : foods[kind].words, kind };
  }
  if (words === undefined || words === settings.food) return { words: settings.food, kind: settings.foodKind };
  // Words of the keeper's own take the place of the kind that was chosen before.
  return { words, kind: settings.foodKind === undefined ? undefined : "other" };
}

/** A weighed portion is believed before a counted one, and a counted one only when it was counted anew. */
function portionSaid(
  settings: FeederSettings,
  said: SomeSettings,
  kind: FoodKind | undefined,
  grains: number | undefined,
): Grams {
  if (said.tenPortionsGrams !== undefined) return grams(said.tenPortionsGrams / 10);
  if (said.portionGrams !== undefined) return grams(said.portionGrams);
  if (kind === undefined || grains === undefined) return settings.portionMass;
  if (kind === settings.foodKind && grains === settings.grainsPerPortion) return settings.portionMass;
  const typical = typicalPortion(kind, grains);
  // Said one at a time, the two may come together to what no tray gives; the door refuses that where it sees both.
  return typical === null || typical < 0.1 || typical > 100 ? settings.portionMass : typical;
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
  ...(settings.foodKind === undefined ? {} : { foodKind: settings.foodKind }),
  ...(settings.grainsPerPortion === undefined ? {} : { grainsPerPortion: settings.grainsPerPortion }),
  hopperCapacityGrams: settings.hopperCapacity,
  portionGrams: settings.portionMass,
  sensors: settings.sensors,
  battery: settings.battery,
  reportEverySeconds: settings.reportEvery / 1_000,
  warnAheadDays: inDays(settings.warnAhead),
  ...(settings.duty === undefined ? {} : { duty: settings.duty }),
});
