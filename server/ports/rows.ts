import type { FeederState } from "../domain/feeder.ts";
import type { Instant } from "../domain/instant.ts";
import type { Grams } from "../domain/units.ts";

/** The rows of the store. */

export interface YardRow {
  readonly id: string;
  readonly name: string;
  readonly zone: string;
  readonly place: { readonly latitudeDegrees: number; readonly longitudeDegrees: number } | null;
  readonly digestTime: string; // local, HH:MM
  readonly digestWanted: boolean;
  readonly practice: boolean;
  readonly escalateMinutes: number; // an urgent alarm that isn't acknowledged goes on to the next person after this
}

export type YardChanges = Partial<Omit<YardRow, "id" | "practice">>;

export interface FeederRow {
  readonly id: string;
  readonly yard: string;
  readonly practice: boolean;
  readonly revision: number;
  readonly addedAt: Instant;
  readonly lastReportAt: Instant | null;
  /** When anything last happened to it; null while nothing has, or where it isn't known. */
  readonly lastStepAt: Instant | null;
  /** When its damaged state was rebuilt from its log; null: never. */
  readonly rebuiltAt: Instant | null;
  readonly state: FeederState;
}

/** A feeder whose stored state can't be used, until it is rebuilt. */
export interface DamagedFeeder extends Omit<FeederRow, "state" | "rebuiltAt"> {
  readonly name: string; // its last known name, or its id
  readonly problem: string;
  readonly stored: string; // what is stored instead of a state
}

/** An event as it is stored without limit of time. `body` is what the feeder sent, unknown fields included. */
export interface StoredEvent {
  readonly feeder: string;
  readonly boot: string;
  readonly seq: number;
  readonly kind: string;
  readonly receivedAt: Instant;
  readonly recordedAt: Instant;
  readonly body: string; // JSON
}

/** One report's readings as posted, so that the log can be replayed. */
export interface StoredHeartbeat {
  readonly feeder: string;
  readonly receivedAt: Instant;
  readonly boot: string;
  readonly sentUptimeMs: number | null;
  readonly readings: string; // JSON as posted
  /** Its events, as far as they were new, such as `3-7 9`. */
  readonly seqs: string;
}

/** What was done to a feeder, in the form of its log. */
export interface StoredLogEntry {
  readonly feeder: string;
  readonly at: Instant;
  readonly entry: string; // JSON, a log's line without its moment and its feeder
}

export interface StoredRefill {
  readonly id: string;
  readonly feeder: string;
  readonly at: Instant;
  readonly grams: Grams | null; // null where only "filled" was entered
  /** `level`: the keeper entered how much is left; the grams are all that is in it. */
  readonly source: "keeper" | "level" | "detected" | "feeder";
  readonly by: string | null;
}
