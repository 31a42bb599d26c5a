import type { Alarm } from "./alarms/alarm.ts";
import type { BenchState } from "./benchRun/benchRun.ts";
import { type ColdState, initialCold } from "./cold/cold.ts";
import { type EventSequence, initialEventSequence } from "./eventSequence.ts";
import type { FaultKind } from "./faults.ts";
import { type FeedState, initialFeed } from "./feed/feedState.ts";
import { type FeederClock, initialClock } from "./feederClock.ts";
import type { PlanRecord } from "./feedingPlan/planRecord.ts";
import type { PlanState } from "./feedingPlan/planState.ts";
import type { HopperForecast } from "./hopper/hopperFaults.ts";
import { type HopperState, initialHopper } from "./hopper/level.ts";
import type { Instant } from "./instant.ts";
import { initialOrders, type OrdersState } from "./orders/order.ts";
import type { Readings } from "./report.ts";
import type { RefusedReports } from "./reportFaults.ts";
import type { FeederSettings } from "./settings.ts";
import { initialReporting, type ReportingState } from "./silence/feederSilence.ts";
import { initialSensors, type SensorsState } from "./silence/sensorFaults.ts";

/**
 * The state of one feeder: plain JSON values, so that a row in a table, a line of a log and a simulation hold the same. Only `advanceFeeder` makes a new one.
 */
export interface FeederState {
  readonly version: 1;
  readonly settings: FeederSettings;
  readonly latestReadings: LatestReadings | null; // null until the first report
  readonly hopper: HopperState;
  readonly hopperForecast: HopperForecast | null; // null: not calculated yet, or the hopper is empty
  readonly feed: FeedState;
  readonly clock: FeederClock;
  readonly eventSequence: EventSequence;
  readonly reporting: ReportingState;
  readonly sensors: SensorsState;
  readonly cold: ColdState;
  readonly orders: OrdersState;
  /** The last problem that the feeder itself reported; null if none. */
  readonly trouble: Trouble | null;
  /** When it was last cleaned, as entered by keepers; left out if never. */
  readonly cleanedAt?: Instant;
  /** Left out: no feeding plan was made. */
  readonly plan?: PlanState;
  /** Left out: no feeder has followed it yet. */
  readonly planRecord?: PlanRecord;
  /** Left out: no bench run was ever made. */
  readonly bench?: BenchState;
  /** Reports that could not be read since the last one that was; left out: none. */
  readonly refusedReports?: RefusedReports;
  /** Alarms that are not in the normal state. */
  readonly alarms: { readonly [kind in FaultKind]?: Alarm };
}

export interface Trouble {
  readonly text: string;
  readonly at: Instant;
}

export interface LatestReadings {
  readonly at: Instant;
  readonly readings: Readings;
  /** Names that came with them and are not known; left out: none. */
  readonly unknownNames?: readonly string[];
}

export function newFeeder(settings: FeederSettings, now: Instant): FeederState {
  return {
    version: 1,
    settings,
    latestReadings: null,
    hopper: initialHopper(settings, now),
    hopperForecast: null,
    feed: initialFeed(),
    clock: initialClock(),
    eventSequence: initialEventSequence(),
    reporting: initialReporting(now),
    sensors: initialSensors(now),
    cold: initialCold(),
    orders: initialOrders(),
    trouble: null,
    alarms: {},
  };
}
