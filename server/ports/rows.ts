import type { FeederState } from "../domain/feeder.ts";
import type { Rollups } from "../domain/history/rollups.ts";
import type { Instant } from "../domain/instant.ts";
import type { StoredBoot } from "../domain/storedBoots.ts";
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
  /** Of a bird disease: while it is in force no feeder of the yard feeds. Null: there is none. */
  readonly diseaseNotice: { readonly at: Instant; readonly by: string } | null;
  /** For so long a still without a star is kept. */
  readonly stillsKeptDays: number;
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
  /** What is not yet merged into its stored roll-ups, as of its last step. */
  readonly rollups: Rollups;
}

/** What the steps in a feeder's log lead to. */
export type SteppedState = Pick<FeederRow, "state" | "rollups">;

/** A feeder whose stored state can't be used, until it is rebuilt. */
export interface DamagedFeeder extends Omit<FeederRow, "state" | "rollups" | "rebuiltAt"> {
  readonly name: string; // the last known one
  readonly problem: string;
}

/** One step of a feeder, as a line of its log. */
export interface LogLine {
  readonly step: number;
  readonly at: Instant; // of a report: when it was received
  readonly content: LogContent;
}

export type LogContent =
  | ReportLine
  /** What a keeper did: JSON, a log's line without its moment and its feeder. */
  | { readonly kind: "entry"; readonly entry: string }
  | { readonly kind: "check" };

export interface ReportLine {
  readonly kind: "report";
  readonly boot: string; // with its number
  readonly sentUptimeMs: number | null;
  /** The numbers of its events, as far as they were new, such as `3-7 9`. */
  readonly seqs: string;
  /** When its boot began: the moments of its events follow from it. Null: all happened at the moment of receipt, as far as is known. */
  readonly bootedAt: Instant | null;
  /** The first and the last moment of its events; null without events. */
  readonly eventSpan: { readonly first: Instant; readonly last: Instant } | null;
  /** What was stored of its boot id and used in its step. */
  readonly recalled: readonly StoredBoot[];
  readonly readings: string | null; // JSON as posted; null once they are thinned
  readonly events: string; // JSON list: those events as the feeder sent them, fields that this version doesn't know included
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
