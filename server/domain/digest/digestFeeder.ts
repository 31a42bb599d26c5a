import { type FaultKind, faultKinds } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { PaymentEvent } from "./paymentEvent.ts";

/** The input of a digest about one feeder. */
export interface DigestFeeder {
  readonly id: string;
  readonly name: string;
  readonly state: FeederState;
  readonly addedAt: Instant;
  /** The whole local day before the digest's date, and the seven before that one, newest first. */
  readonly days: readonly BirdDay[];
  /** Deposits of the first of these days and the portions that may belong to them; null where there were too many to read. */
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
  /** False where the feeder had no reports, was paused or not there yet for more than an hour: such a day is not compared. */
  readonly isComplete: boolean;
}

export interface TimedReadings {
  readonly at: Instant;
  readonly readings: Readings;
}

export const nameOf = ({ name, state }: Pick<DigestFeeder, "name" | "state">): string =>
  state.settings.practice ? `${name} (practice)` : name;

/** Raised and still present, acknowledged or not. */
export function isStanding({ alarms }: FeederState, kind: FaultKind): boolean {
  const state = alarms[kind]?.state;
  return state === "unacknowledged" || state === "acknowledged";
}

/** It feeds birds: it is neither in the workshop nor in storage. */
/** Whose birds a yard's training record is about: also those of a feeder that was imported, which itself is nowhere. */
export const hasBirds = (state: FeederState): boolean => isInGarden(state) || state.settings.imported === true;

export const isInGarden = ({ settings }: FeederState): boolean => (settings.placement ?? "inGarden") === "inGarden";

export const standingFaults = (state: FeederState): readonly FaultKind[] =>
  faultKinds.filter((kind) => isStanding(state, kind));
