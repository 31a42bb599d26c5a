import { type FaultKind, faultKinds } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { PaymentEvent } from "./paymentEvent.ts";

/** What a digest is told of one feeder. */
export interface DigestFeeder {
  readonly id: string;
  readonly name: string;
  readonly state: FeederState;
  readonly addedAt: Instant;
  /** The whole local day before the digest's date, and the seven before that one, newest first. */
  readonly days: readonly BirdDay[];
  /** Deposits of the first of these days and the portions that may have paid them; null where there were too many to read. */
  readonly paymentEvents: readonly PaymentEvent[] | null;
  /** Readings of the last day about an hour apart, oldest first. */
  readonly recentReadings: readonly TimedReadings[];
}

/** Events by kind over one local day. */
export interface DayCounts {
  readonly visits: number;
  readonly presses: number;
  readonly deposits: number;
  readonly portions: number;
}

export interface BirdDay {
  readonly counts: DayCounts;
  /** False where the feeder was silent, paused or not there yet for more than an hour of it: such a day is no measure of birds. */
  readonly isComplete: boolean;
}

export interface TimedReadings {
  readonly at: Instant;
  readonly readings: Readings;
}

export const nameOf = ({ name, state }: Pick<DigestFeeder, "name" | "state">): string =>
  state.settings.practice ? `${name} (practice)` : name;

/** Told to the keeper and still so, acknowledged or not. */
export function isStanding({ alarms }: FeederState, kind: FaultKind): boolean {
  const phase = alarms[kind]?.state;
  return phase === "unacknowledged" || phase === "acknowledged";
}

/** It feeds birds: it is neither on the bench nor put away for the season. */
export const isInGarden = ({ settings }: FeederState): boolean => (settings.placement ?? "inGarden") === "inGarden";

export const standingFaults = (state: FeederState): readonly FaultKind[] =>
  faultKinds.filter((kind) => isStanding(state, kind));
