import type { z } from "zod";
import type { feederSettingsRequest } from "../../contract/api.ts";
import { type AssumedSetting, assumableSettings, isAssumed } from "../../domain/assumedSettings.ts";
import { type FoodKind, foods, typicalPortion } from "../../domain/food.ts";
import { days, inDays, seconds } from "../../domain/instant.ts";
import type { FeederSettings } from "../../domain/settings.ts";
import { type Grams, grams } from "../../domain/units.ts";

/** A feeder's settings in the keeper's own words, and what they mean. */

export type SettingsRequest = z.infer<typeof feederSettingsRequest>;
/** What a keeper leaves out is not asked for: undefined here, never null. */
export type SettingsChange = { readonly [Name in keyof SettingsRequest]?: SettingsRequest[Name] | undefined } & {
  readonly tenPortionsGrams?: number | undefined; // weighed together
};

const defaultCapacity = grams(1_000);
const defaultPortion = grams(1.5);

/**
 * What a first feeder usually is, as long as nobody has said otherwise. Common practice, no source. None of it is the keeper's
 * word: what is reckoned with is named as assumed, and which sensors there are is left to what the feeder reports.
 */
export function defaultSettings(
  yard: Pick<FeederSettings, "practice" | "place" | "zone">,
  name: string,
): FeederSettings {
  return {
    name,
    practice: yard.practice,
    place: yard.place,
    zone: yard.zone,
    hopperCapacity: defaultCapacity,
    portionMass: defaultPortion,
    sensors: { button: false, detector: false, chute: false, perch: false, scale: false },
    detectsSensors: true,
    battery: "none",
    reportEvery: seconds(60),
    foodWarningAhead: days(1),
    assumed: assumableSettings,
  };
}

export function withSettings(settings: FeederSettings, request: SettingsChange): FeederSettings {
  const food = requestedFood(settings, request);
  const grains = request.grainsPerPortion ?? settings.grainsPerPortion;
  const duty = request.placement ?? settings.placement;
  const { food: _food, assumed: _assumed, ...known } = settings;
  const portion = requestedPortion(settings, request, food.kind, grains);
  const assumed = assumedAfter(settings, request, portion);
  return {
    ...known,
    name: request.name ?? settings.name,
    ...(food.words === undefined ? {} : { food: food.words }),
    ...(food.kind === undefined ? {} : { foodKind: food.kind }),
    ...(grains === undefined ? {} : { grainsPerPortion: grains }),
    ...(duty === undefined ? {} : { placement: duty }),
    hopperCapacity:
      request.hopperCapacityGrams === undefined ? settings.hopperCapacity : grams(request.hopperCapacityGrams),
    portionMass: portion ?? settings.portionMass,
    sensors: request.sensors ?? settings.sensors,
    battery: request.battery ?? settings.battery,
    reportEvery: request.reportEverySeconds === undefined ? settings.reportEvery : seconds(request.reportEverySeconds),
    foodWarningAhead: request.warnAheadDays === undefined ? settings.foodWarningAhead : days(request.warnAheadDays),
    ...(assumed.length === 0 ? {} : { assumed }),
  };
}

function assumedAfter(
  settings: FeederSettings,
  request: SettingsChange,
  portion: Grams | null,
): readonly AssumedSetting[] {
  const isSaid: Readonly<Record<AssumedSetting, boolean>> = {
    hopperCapacity: request.hopperCapacityGrams !== undefined,
    portionMass: portion !== null,
    battery: request.battery !== undefined,
  };
  return assumableSettings.filter((what) => isAssumed(settings, what) && !isSaid[what]);
}

interface RequestedFood {
  readonly words: string | undefined; // nobody has said it
  readonly kind: FoodKind | undefined;
}

function requestedFood(settings: FeederSettings, request: SettingsChange): RequestedFood {
  const { foodKind, food } = request;
  if (foodKind !== undefined) {
    if (food !== undefined) return { words: food, kind: foodKind };
    return { words: foodKind === settings.foodKind ? settings.food : foods[foodKind].name, kind: foodKind };
  }
  if (food === undefined || food === settings.food) return { words: settings.food, kind: settings.foodKind };
  // Words of the keeper's own take the place of the kind that was chosen before.
  return { words: food, kind: settings.foodKind === undefined ? undefined : "other" };
}

/** A weighed portion is believed before a counted one, and a counted one only when it was counted anew. Null: nothing was said. */
function requestedPortion(
  settings: FeederSettings,
  request: SettingsChange,
  kind: FoodKind | undefined,
  grains: number | undefined,
): Grams | null {
  if (request.tenPortionsGrams !== undefined) return grams(request.tenPortionsGrams / 10);
  if (request.portionGrams !== undefined) return grams(request.portionGrams);
  if (kind === undefined || grains === undefined) return null;
  if (kind === settings.foodKind && grains === settings.grainsPerPortion) return null;
  const typical = typicalPortion(kind, grains);
  // Said one at a time, the two may come together to what no tray gives; the door refuses that where it sees both.
  return typical === null || typical < 0.1 || typical > 100 ? null : typical;
}

/** The keeper changes what a feeder was added with: who says which sensors there are ends the noticing of others. */
export function changeSettings(settings: FeederSettings, request: SettingsChange): FeederSettings {
  const { detectsSensors, ...asTold } = settings;
  return withSettings(request.sensors === undefined ? settings : asTold, request);
}

/** And back: `withSaid` of these words gives these settings. What nobody has said is left out. */
export const settingsRequestOf = (settings: FeederSettings): SettingsRequest => ({
  name: settings.name,
  ...(settings.food === undefined ? {} : { food: settings.food }),
  ...(settings.foodKind === undefined ? {} : { foodKind: settings.foodKind }),
  ...(settings.grainsPerPortion === undefined ? {} : { grainsPerPortion: settings.grainsPerPortion }),
  ...(isAssumed(settings, "hopperCapacity") ? {} : { hopperCapacityGrams: settings.hopperCapacity }),
  ...(isAssumed(settings, "portionMass") ? {} : { portionGrams: settings.portionMass }),
  sensors: settings.sensors,
  ...(isAssumed(settings, "battery") ? {} : { battery: settings.battery }),
  reportEverySeconds: settings.reportEvery / 1_000,
  warnAheadDays: inDays(settings.foodWarningAhead),
  ...(settings.placement === undefined ? {} : { placement: settings.placement }),
});
