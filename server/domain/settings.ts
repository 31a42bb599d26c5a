import type { AssumedSetting } from "./assumedSettings.ts";
import type { FoodKind } from "./food.ts";
import type { Span } from "./instant.ts";
import type { Grams } from "./units.ts";

/** What the keeper has said about a feeder, in plain words and round numbers. */
export interface FeederSettings {
  readonly name: string;
  readonly practice: boolean; // a simulated feeder: marked so wherever it is shown
  readonly place: Place | null; // null until the keeper says where the yard is
  readonly zone: string; // IANA zone of the yard
  /** In words, as it is told: "about half full of …". Left out while nobody has said it. */
  readonly food?: string;
  readonly foodKind?: FoodKind; // left out while the keeper has only said it in words
  /** Pieces in a portion, as the keeper counted them; left out while not said. */
  readonly grainsPerPortion?: number;
  readonly hopperCapacity: Grams;
  /** What one portion weighs, as far as anybody knows; learning starts from here. */
  readonly portionMass: Grams;
  readonly sensors: FittedSensors;
  /** While true, a sensor that speaks is taken to be fitted; left out once the keeper has changed them. */
  readonly detectsSensors?: true;
  readonly battery: BatteryKind;
  readonly reportEvery: Span;
  /** "Food low" is told when the hopper may be empty within this span. */
  readonly foodWarningAhead: Span;
  /** Left out: in the garden. */
  readonly placement?: Placement;
  /** What nobody has said and the usual stands for; left out where all of it was said. */
  readonly assumed?: readonly AssumedSetting[];
}

/** `onBench`: it is built or tried out, and nothing it does is a word to anybody. `putAway`: out of season, in a shed say. */
export type Placement = "inGarden" | "onBench" | "putAway";

export interface Place {
  readonly latitudeDegrees: number;
  readonly longitudeDegrees: number;
}

/** Which sensors the keeper built in. What isn't there can't fall silent. */
export interface FittedSensors {
  readonly button: boolean;
  readonly detector: boolean;
  readonly chute: boolean;
  readonly perch: boolean;
  readonly scale: boolean;
}

export type BatteryKind = "none" | "leadAcid" | "lithiumIronPhosphate" | "lithiumIon";
