import type { FeederState } from "./feeder.ts";
import { type AssumedOfFood, restsOnAssumed } from "./hopper/foodWords.ts";

/** What only a keeper can say and what is told of the food rests on; each is asked for in one place, until it is said. */
export interface Ask {
  readonly words: string; // a whole sentence
  readonly said: "inSettings" | "asRefill"; // where it can be said
}

export function asksOf({ hopper, settings, link }: FeederState): readonly Ask[] {
  if (link.kind === "neverHeard" || (settings.duty ?? "inGarden") !== "inGarden") return [];
  const level: readonly Ask[] = hopper.known
    ? []
    : [{ words: "Say how much is in it: weigh it, or tell of a refill.", said: "asRefill" }];
  const assumed = restsOnAssumed(hopper, settings).map((what) => asWhat[what]);
  if (assumed.length === 0) return level;
  const weight = assumed.length === 1 ? "a usual weight" : "usual weights";
  const words = `Say ${assumed.join(" and ")}: how long the food lasts rests on ${weight} that nobody has confirmed.`;
  return [...level, { words, said: "inSettings" }];
}

const asWhat: Readonly<Record<AssumedOfFood, string>> = {
  portionMass: "what a portion weighs",
  hopperCapacity: "how much a full hopper holds",
};
