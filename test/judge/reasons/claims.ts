import type { Instant } from "../../../server/domain/instant.ts";

/** What the words and values of an alarm assert, sentence by sentence, so that it can be held against what the feeder sent. */
export type Claim =
  | { readonly says: "uses" | "lacks"; readonly sensor: Sensor }
  /** A number beside the one that it is said to differ from, or not to. */
  | {
      readonly says: "differs";
      readonly what: string;
      readonly value: number;
      readonly sign: Sign;
      readonly from: number;
    }
  /** The same name always stands for the same number, in the reason and in the evidence. */
  | { readonly says: "number"; readonly name: NumberName; readonly value: number }
  | {
      readonly says:
        | "noFood"
        | "hardlyAnyFood"
        | "countsLess"
        | "partFalls"
        | "notLighter"
        | "lighter"
        | "weightUnchanged"
        | "noWeight";
    }
  | { readonly says: "empty" | "mayBeEmpty" } // the hopper
  | { readonly says: "leftAtMost"; readonly grams: number }
  | { readonly says: "lessThanATenth"; readonly grams: number } // of the hopper
  | { readonly says: "currentIsUsual" | "currentsAreUsual" }
  /** Said of the past: the newest portion spoke against the fault. */
  | { readonly says: "mayBeOver" }
  | { readonly says: "noSignal" | "noCompanion"; readonly sensor: BirdSensor }
  | { readonly says: "lastSignal"; readonly at: Instant }
  | { readonly says: "lastFell"; readonly at: Instant }
  | { readonly says: "unchanged"; readonly sensor: Sensor; readonly value: number }
  /** A value is shown as the present one; a moment as one that is still to come. */
  | { readonly says: "isPresent"; readonly sensor: Sensor; readonly at: Instant }
  | { readonly says: "isToCome"; readonly at: Instant };

export type BirdSensor = "button" | "detector" | "perch";
/** As they are named in a report's readings. */
export type ReadSensor =
  | "air"
  | "inside"
  | "lid"
  | "humidity"
  | "supply"
  | "battery"
  | "batteryTemperature"
  | "charge"
  | "signalDbm";
export type Sensor =
  | BirdSensor
  | ReadSensor
  | "chute"
  | "scale"
  | "motorCurrent"
  | "portions"
  | "slotBeam"
  | "level" // of the hopper, by whatever tells it
  | "nobody"; // a sensor that no feeder has

export type Sign = "higher" | "lower" | "atMost";

export type NumberName =
  | "portions without food"
  | "current"
  | "usual current"
  | "level"
  | "level at the last portion"
  | "weight"
  | "reports without a weight"
  | `events of ${string}`
  | `temperature at ${string}`;

/** A finding of an alarm, as it is stored and shown. */
export interface Words {
  readonly reason: string;
  readonly evidence: readonly { readonly label: string; readonly value: string; readonly at: Instant | null }[];
}

export type ClaimOf<Says extends Claim["says"]> = Extract<Claim, { readonly says: Says }>;
