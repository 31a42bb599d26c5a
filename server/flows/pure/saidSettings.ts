import type { z } from "zod";
import type { feederSettingsRequest } from "../../contract/api.ts";
import { type Assumed, assumable, isAssumed } from "../../domain/assumed.ts";
import { type FoodKind, foods, typicalPortion } from "../../domain/food.ts";
import { days, inDays, seconds } from "../../domain/instant.ts";
import type { FeederSettings } from "../../domain/settings.ts";
import { type Grams, grams } from "../../domain/units.ts";

/** A feeder's settings in the keeper's own words, and what they mean. */

export type SaidSettings = z.infer<typeof feederSettingsRequest>;
/** What a keeper leaves out is not asked for: undefined here, never null. */
export type SomeSettings = { readonly [Name in keyof SaidSettings]?: SaidSettings[Name] | undefined } & {
  readonly tenPortionsGrams?: number | undefined; // weighed together
};

const usualCapacity = grams(1_000);
const usualPortion = grams(1.5);

/**
 * What a first feeder usually is, as long as nobody has said otherwise. Common practice, no source. None of it is the keeper's
 * word: what is reckoned with is named as assumed, and which sensors there are is left to what the feeder reports.
 */
export function usualSettings(yard: Pick<FeederSettings, "practice" | "place" | "zone">, name: string): FeederSettings {
  return {
    name,
    practice: yard.practice,
    place: yard.place,
    zone: yard.zone,
    hopperCapacity: usualCapacity,
    portionMass: usualPortion,
    sensors: { button: false, detector: false, chute: false, perch: false, scale: false },
    noticesSensors: true,
    battery: "none",
    reportEvery: seconds(60),
    warnAhead: days(1),
    assumed: assumable,
  };
}

export function withSaid(settings: FeederSettings, said: SomeSettings): FeederSettings {
  const food = foodSaid(settings, said);
  const grains = said.grainsPerPortion ?? settings.grainsPerPortion;
  const duty = said.duty ?? settings.duty;
  const { food: _food, assumed: _assumed, ...known } = settings;
  const portion = portionSaid(settings, said, food.kind, grains);
  const assumed = assumedAfter(settings, said, portion);
  return {
    ...known,
    name: said.name ?? settings.name,
    ...(food.words === undefined ? {} : { food: food.words }),
    ...(food.kind === undefined ? {} : { foodKind: food.kind }),
    ...(grains === undefined ? {} : { grainsPerPortion: grains }),
    ...(duty === undefined ? {} : { duty }),
    hopperCapacity: said.hopperCapacityGrams === undefined ? settings.hopperCapacity : grams(said.hopperCapacityGrams),
    portionMass: portion ?? settings.portionMass,
    sensors: said.sensors ?? settings.sensors,
    battery: said.battery ?? settings.battery,
    reportEvery: said.reportEverySeconds === undefined ? settings.reportEvery : seconds(said.reportEverySeconds),
    warnAhead: said.warnAheadDays === undefined ? settings.warnAhead : days(said.warnAheadDays),
    ...(assumed.length === 0 ? {} : { assumed }),
  };
}

function assumedAfter(settings: FeederSettings, said: SomeSettings, portion: Grams | null): readonly Assumed[] {
  const isSaid: Readonly<Record<Assumed, boolean>> = {
    hopperCapacity: said.hopperCapacityGrams !== undefined,
    portionMass: portion !== null,
    battery: said.battery !== undefined,
  };
  return assumable.filter((what) => isAssumed(settings, what) && !isSaid[what]);
}

interface SaidFood {
  readonly words: string | undefined; // nobody has said it
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

/** A weighed portion is believed before a counted one, and a counted one only when it was counted anew. Null: nothing was said. */
function portionSaid(
  settings: FeederSettings,
  said: SomeSettings,
  kind: FoodKind | undefined,
  grains: number | undefined,
): Grams | null {
  if (said.tenPortionsGrams !== undefined) return grams(said.tenPortionsGrams / 10);
  if (said.portionGrams !== undefined) return grams(said.portionGrams);
  if (kind === undefined || grains === undefined) return null;
  if (kind === settings.foodKind && grains === settings.grainsPerPortion) return null;
  const typical = typicalPortion(kind, grains);
  // Said one at a time, the two may come together to what no tray gives; the door refuses that where it sees both.
  return typical === null || typical < 0.1 || typical > 100 ? null : typical;
}

/** The keeper changes what a feeder was added with: who says which sensors there are ends the noticing of others. */
export function changedSettings(settings: FeederSettings, said: SomeSettings): FeederSettings {
  const { noticesSensors: _, ...asTold } = settings;
  return withSaid(said.sensors === undefined ? settings : asTold, said);
}

/** And back: `withSaid` of these words gives these settings. What nobody has said is left out. */
export const saidOf = (settings: FeederSettings): SaidSettings => ({
  name: settings.name,
  ...(settings.food === undefined ? {} : { food: settings.food }),
  ...(settings.foodKind === undefined ? {} : { foodKind: settings.foodKind }),
  ...(settings.grainsPerPortion === undefined ? {} : { grainsPerPortion: settings.grainsPerPortion }),
  ...(isAssumed(settings, "hopperCapacity") ? {} : { hopperCapacityGrams: settings.hopperCapacity }),
  ...(isAssumed(settings, "portionMass") ? {} : { portionGrams: settings.portionMass }),
  sensors: settings.sensors,
  ...(isAssumed(settings, "battery") ? {} : { battery: settings.battery }),
  reportEverySeconds: settings.reportEvery / 1_000,
  warnAheadDays: inDays(settings.warnAhead),
  ...(settings.duty === undefined ? {} : { duty: settings.duty }),
});
