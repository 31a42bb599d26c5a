import type { AssumedSetting } from "./assumedSettings.ts";
import type { FeedingRules } from "./feedingPlan/feedingRules.ts";
import type { FoodKind } from "./food.ts";
import type { Span } from "./instant.ts";
import type { Grams } from "./units.ts";

/** What the keeper has entered about a feeder, in round numbers. */
export interface FeederSettings {
  readonly name: string;
  readonly practice: boolean; // a simulated feeder: marked so wherever it is shown
  readonly place: Place | null; // null until the keeper enters the location of the yard
  readonly zone: string; // IANA zone of the yard
  /** The name of the food, as in "about half full of …". Left out until it is entered. */
  readonly food?: string;
  readonly foodKind?: FoodKind; // left out while the keeper has only entered a name
  /** Pieces in a portion, as the keeper counted them; left out until it is entered. */
  readonly grainsPerPortion?: number;
  readonly hopperCapacity: Grams;
  /** The weight of one portion as entered or assumed; learning starts from here. */
  readonly portionMass: Grams;
  readonly sensors: FittedSensors;
  /** While true, a sensor that reports counts as fitted; left out once the keeper has changed them. */
  readonly detectsSensors?: true;
  readonly battery: BatteryKind;
  readonly reportEvery: Span;
  /** The alarm "food low" is raised when the hopper may be empty within this span. */
  readonly foodWarningAhead: Span;
  /** Left out: the keeper has made no feeding plan, and the feeder feeds as its own program has it. */
  readonly feeding?: FeedingRules;
  /** Left out: in the garden. */
  readonly placement?: Placement;
  /** It is the record of a feeder of another server: it reports nothing itself, and alarms nobody. */
  readonly imported?: true;
  /** Settings that nobody has entered, with typical values in use; left out where all were entered. */
  readonly assumed?: readonly AssumedSetting[];
}

/** `onBench`: in the workshop, built or tested; its alarms notify nobody. `putAway`: in storage, out of season. */
export type Placement = "inGarden" | "onBench" | "putAway";

export interface Place {
  readonly latitudeDegrees: number;
  readonly longitudeDegrees: number;
}

/** Which sensors the keeper built in. A sensor that isn't fitted can't fail. */
export interface FittedSensors {
  readonly button: boolean;
  readonly detector: boolean;
  readonly chute: boolean;
  readonly perch: boolean;
  readonly scale: boolean;
}

export type BatteryKind = "none" | "leadAcid" | "lithiumIronPhosphate" | "lithiumIon";
