import type { Alarm } from "./alarms/alarm.ts";
import type { Assumed } from "./assumed.ts";
import { type ColdState, noCold } from "./cold/cold.ts";
import { type EventSequence, noEvents } from "./eventSequence.ts";
import type { Readings } from "./facts.ts";
import type { FaultKind } from "./faults.ts";
import { type FeedState, freshFeed } from "./feed/diagnosis.ts";
import { type FeederClock, unsetClock } from "./feederClock.ts";
import type { FoodKind } from "./food.ts";
import type { Foresight } from "./hopper/hopperFaults.ts";
import { type HopperState, unknownHopper } from "./hopper/level.ts";
import type { Instant, Span } from "./instant.ts";
import { noOrders, type OrdersState } from "./orders/order.ts";
import type { RefusedReports } from "./reportFaults.ts";
import { type LinkState, neverHeard } from "./silence/feederSilence.ts";
import { type SensorsState, unwatchedSensors } from "./silence/sensorSilence.ts";
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
  readonly noticesSensors?: true;
  readonly battery: BatteryKind;
  readonly reportEvery: Span;
  /** "Food low" is told when the hopper may be empty within this span. */
  readonly warnAhead: Span;
  /** Left out: in the garden. */
  readonly duty?: Duty;
  /** What nobody has said and the usual stands for; left out where all of it was said. */
  readonly assumed?: readonly Assumed[];
}

/** `onBench`: it is built or tried out, and nothing it does is a word to anybody. `putAway`: out of season, in a shed say. */
export type Duty = "inGarden" | "onBench" | "putAway";

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

/**
 * All that Pieward remembers of one feeder: plain JSON values, so that a row in a table, a line of a log and a
 * simulation hold the very same thing. Only `advanceFeeder` makes a new one.
 */
export interface FeederState {
  readonly version: 1;
  readonly settings: FeederSettings;
  readonly latest: LatestReadings | null; // null until the first report
  readonly hopper: HopperState;
  readonly foresight: Foresight | null; // null: not reckoned yet, or the hopper is empty
  readonly feed: FeedState;
  readonly clock: FeederClock;
  readonly sequence: EventSequence;
  readonly link: LinkState;
  readonly sensors: SensorsState;
  readonly cold: ColdState;
  readonly orders: OrdersState;
  /** The feeder's own last word of trouble; null while it never had any. */
  readonly trouble: Trouble | null;
  /** When it was last cleaned, as the keepers say; left out while nobody has said so. */
  readonly cleanedAt?: Instant;
  /** Reports that could not be read since the last one that was; left out: none. */
  readonly refused?: RefusedReports;
  /** Alarms that are not in the normal state. */
  readonly alarms: { readonly [kind in FaultKind]?: Alarm };
}

export interface Trouble {
  readonly words: string;
  readonly at: Instant;
}

export interface LatestReadings {
  readonly at: Instant;
  readonly readings: Readings;
  /** Names that came with them and are not known; left out: none. */
  readonly unknown?: readonly string[];
}

export function newFeeder(settings: FeederSettings, now: Instant): FeederState {
  return {
    version: 1,
    settings,
    latest: null,
    hopper: unknownHopper(settings, now),
    foresight: null,
    feed: freshFeed(),
    clock: unsetClock(),
    sequence: noEvents(),
    link: neverHeard(now),
    sensors: unwatchedSensors(now),
    cold: noCold(),
    orders: noOrders(),
    trouble: null,
    alarms: {},
  };
}
