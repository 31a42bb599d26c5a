import type { LoggedSettings } from "../../../server/contract/feederLog.ts";
import type { Story } from "../world.ts";
import type { Machine } from "./machine.ts";
import type { Random } from "./random.ts";
import type { Place } from "./sky.ts";

/** What the keeper has entered about the feeder: by and large right. Ranges: common practice, no source. */
export function enteredSettings(
  { sensors, reportEverySeconds }: Story,
  parts: { place: Place; machine: Machine; capacity: number; at: number; random: Random },
): LoggedSettings {
  const { place, machine, capacity, at, random } = parts;
  const { button, detector, chute, perch, scale } = sensors;
  const { latitudeDegrees, longitudeDegrees, zone } = place;
  const isWeighed = random.chance(0.5);
  const portionGrams = machine.usualGrams(at) * random.uniform(isWeighed ? 0.92 : 0.6, isWeighed ? 1.08 : 1.4);
  const hopperCapacityGrams = capacity * random.logNormal(1, random.chance(0.5) ? 0.03 : 0.15);
  const { isBattery } = machine.supply;
  return {
    name: random.pick(["Rowan", "Larch"]),
    zone,
    place: random.chance(0.92) ? { latitudeDegrees, longitudeDegrees } : null,
    food: machine.food.name,
    hopperCapacityGrams: Math.round(Math.max(50, Math.min(50_000, hopperCapacityGrams)) / 10) * 10,
    ...(random.chance(0.93) && { portionGrams: Math.round(Math.max(0.2, Math.min(90, portionGrams)) * 10) / 10 }),
    sensors: { button, detector, chute, perch, scale },
    ...(random.chance(0.6) && { battery: isBattery ? ("leadAcid" as const) : ("none" as const) }),
    reportEverySeconds,
    warnAheadDays: random.pick([0.5, 1, 1, 2, 2, 3, 5]),
    placement: "inGarden",
  };
}
