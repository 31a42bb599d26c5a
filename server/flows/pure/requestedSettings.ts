import type { z } from "zod";
import type { feederSettingsRequest } from "../../contract/api.ts";
import { type AssumedSetting, assumableSettings, isAssumed } from "../../domain/assumedSettings.ts";
import { type FoodKind, foods, typicalPortion } from "../../domain/food.ts";
import { days, inDays, seconds } from "../../domain/instant.ts";
import type { FeederSettings } from "../../domain/settings.ts";
import { type Grams, grams } from "../../domain/units.ts";
import { feedingRequestOf, feedingRulesOf } from "./requestedFeeding.ts";

/** A feeder's settings as the keeper enters them, and the domain's settings that follow from them. */

export type SettingsRequest = z.infer<typeof feederSettingsRequest>;
/** What a keeper leaves out stays as it is: undefined here, never null. */
export type SettingsChange = { readonly [Name in keyof SettingsRequest]?: SettingsRequest[Name] | undefined } & {
  readonly tenPortionsGrams?: number | undefined; // weighed together
};

const defaultCapacity = grams(1_000);
const defaultPortion = grams(1.5);

/**
 * Typical values of a first feeder, until a keeper enters others. Common practice, no source. Values that are used in
 * computations are marked as assumed; which sensors there are is detected from the feeder's reports.
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
  const portion = requestedPortion(settings, request, food.kind, grains);
  const { assumed: _assumed, ...known } = request.feeding === null ? withoutFeeding(settings) : settings;
  const assumed = assumedAfter(settings, request, portion);
  const changes = definedOnly({
    name: request.name,
    food: food.text,
    foodKind: food.kind,
    grainsPerPortion: grains,
    placement: request.placement,
    feeding:
      request.feeding == null
        ? undefined
        : feedingRulesOf(request.feeding, { ...settings, name: request.name ?? settings.name }),
    hopperCapacity: converted(request.hopperCapacityGrams, grams),
    portionMass: portion ?? undefined,
    sensors: request.sensors,
    battery: request.battery,
    reportEvery: converted(request.reportEverySeconds, seconds),
    foodWarningAhead: converted(request.warnAheadDays, days),
  });
  return { ...known, ...changes, ...(assumed.length === 0 ? {} : { assumed }) };
}

const withoutFeeding = ({ feeding: _feeding, ...settings }: FeederSettings): FeederSettings => settings;

const converted = <Quantity>(value: number | undefined, unit: (value: number) => Quantity): Quantity | undefined =>
  value === undefined ? undefined : unit(value);

type DefinedOnly<Fields> = { readonly [Name in keyof Fields]?: Exclude<Fields[Name], undefined> };
const definedOnly = <Fields extends object>(fields: Fields): DefinedOnly<Fields> =>
  Object.fromEntries(Object.entries(fields).filter(([, value]) => value !== undefined)) as DefinedOnly<Fields>;

function assumedAfter(
  settings: FeederSettings,
  request: SettingsChange,
  portion: Grams | null,
): readonly AssumedSetting[] {
  const isStated: Readonly<Record<AssumedSetting, boolean>> = {
    hopperCapacity: request.hopperCapacityGrams !== undefined,
    portionMass: portion !== null,
    battery: request.battery !== undefined,
  };
  return assumableSettings.filter((what) => isAssumed(settings, what) && !isStated[what]);
}

interface RequestedFood {
  readonly text: string | undefined; // undefined where nobody has entered it
  readonly kind: FoodKind | undefined;
}

function requestedFood(settings: FeederSettings, request: SettingsChange): RequestedFood {
  const { foodKind, food } = request;
  if (foodKind !== undefined) {
    if (food !== undefined) return { text: food, kind: foodKind };
    return { text: foodKind === settings.foodKind ? settings.food : foods[foodKind].name, kind: foodKind };
  }
  if (food === undefined || food === settings.food) return { text: settings.food, kind: settings.foodKind };
  // A text of the keeper's own replaces the kind that was chosen before.
  return { text: food, kind: settings.foodKind === undefined ? undefined : "other" };
}

/** A weighed portion comes before a counted one, and a counted one is used only when the count has changed. Null: no new portion. */
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
  // Sent in two requests, kind and count may give what no tray gives; the route refuses that where it sees both.
  return typical === null || typical < 0.1 || typical > 100 ? null : typical;
}

/** The keeper changes the settings of a known feeder: after sensors were entered, others are not detected any more. */
export function changeSettings(settings: FeederSettings, request: SettingsChange): FeederSettings {
  const { detectsSensors: _detectsSensors, ...withoutDetection } = settings;
  return withSettings(request.sensors === undefined ? settings : withoutDetection, request);
}

/** The opposite: `withSettings` of this request gives these settings. What nobody has entered is left out. */
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
  ...(settings.feeding === undefined ? {} : { feeding: feedingRequestOf(settings.feeding) }),
});
