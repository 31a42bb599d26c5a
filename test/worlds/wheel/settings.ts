import { type LoggedSettings, loggedSettings } from "../../../server/contract/feederLog.ts";
import type { Story } from "../world.ts";
import type { Hopper } from "./hopper.ts";
import type { Random } from "./random.ts";
import type { Place } from "./sun.ts";
import type { SupplyKind } from "./supply.ts";

/** What the keeper enters about the feeder: roughly, wrong by up to a third, or not at all, so that defaults are used. */
export interface EnteredParts {
  readonly story: Story;
  readonly place: Place;
  readonly hopper: Hopper;
  readonly supply: SupplyKind;
  readonly portionGrams: number; // the true mean
}

export function enteredSettings(
  random: Random,
  { story, place, hopper, supply, portionGrams }: EnteredParts,
): LoggedSettings {
  const { button, detector, chute, perch, scale } = story.sensors;
  const { mix } = hopper;
  const pieceGrams = 1 / mix.sizes.reduce((pieces, { grams, share }) => pieces + share / grams, 0);
  const weighed = random.chance(0.6) ? { portionGrams: clamp(portionGrams * random.between(0.7, 1.3), 0.1, 100) } : {};
  const pieces = Math.round((portionGrams / pieceGrams) * random.between(0.7, 1.3));
  return loggedSettings.parse({
    name: "Larch",
    ...(random.chance(0.6) && { foodKind: mix.foodKind, food: mix.words }),
    ...(random.chance(0.2) && { grainsPerPortion: clamp(pieces, 1, 1_000) }),
    ...(random.chance(0.85) && { hopperCapacityGrams: 10 * Math.round(hopper.capacity * random.between(0.08, 0.12)) }),
    ...weighed,
    sensors: { button, detector, chute, perch, scale },
    ...(random.chance(0.8) && { battery: supply === "adapter" ? "none" : supply }),
    reportEverySeconds: story.reportEverySeconds,
    zone: "Europe/Stockholm",
    place: random.chance(0.85) ? place : null,
  });
}

const clamp = (value: number, low: number, high: number): number =>
  Math.min(high, Math.max(low, Math.round(100 * value) / 100));
