import type { Alarm } from "./alarms/alarm.ts";
import { type ColdState, noCold } from "./cold/cold.ts";
import { type EventSequence, noEvents } from "./eventSequence.ts";
import type { FaultKind } from "./faults.ts";
import { type FeedState, freshFeed } from "./feed/feedState.ts";
import { type FeederClock, unsetClock } from "./feederClock.ts";
import type { Foresight } from "./hopper/hopperFaults.ts";
import { type HopperState, unknownHopper } from "./hopper/level.ts";
import type { Instant } from "./instant.ts";
import { noOrders, type OrdersState } from "./orders/order.ts";
import type { Readings } from "./report.ts";
import type { RefusedReports } from "./reportFaults.ts";
import type { FeederSettings } from "./settings.ts";
import { type LinkState, neverHeard } from "./silence/feederSilence.ts";
import { type SensorsState, unwatchedSensors } from "./silence/sensorSilence.ts";

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
