import type { LoggedSettings } from "../contract/feederLog.ts";
import type { Pair, RingComparison } from "../domain/comparison/compareRings.ts";
import type { Instant } from "../domain/instant.ts";
import type { RecordStore } from "./records.ts";
import type { FeederRow, SteppedState } from "./rows.ts";

/** Replays a feeder's log under two settings, beside the server's other work. */
export interface SettingsComparer {
  /** One at a time. Ends early where `signal` aborts. @throws Error where the log can't be read at all */
  compare(request: ComparisonRequest, signal: AbortSignal): Promise<ComparisonOutcome>;
}

/** All of it can be handed to another thread. */
export interface ComparisonRequest {
  readonly feeder: Pick<FeederRow, "id" | "addedAt" | "revision">;
  /** The present ones, for a replay that begins in the middle of the log. */
  readonly settings: LoggedSettings;
  /** What differs between the present settings and the proposed ones, as each has it. */
  readonly overrides: Pair<LoggedSettings>;
  readonly from: Instant;
  readonly to: Instant;
}

export type ComparisonOutcome =
  | { readonly kind: "compared"; readonly compared: ComparedSettings }
  | { readonly kind: "busy" } // with another one
  | { readonly kind: "tookTooLong" }
  | { readonly kind: "tookTooMuchMemory" }
  | { readonly kind: "cancelled" };

export interface ComparedSettings {
  /** Later than requested where the log has no readings before. */
  readonly from: Instant;
  readonly replayedFrom: Instant;
  readonly begun: "firstLine" | "storedState" | "middle";
  /** Readings of the log are gone until then; null: it has all. */
  readonly readingsDroppedUntil: Instant | null;
  /** Whether a part of the log can't be read and is left out. */
  readonly isIncomplete: boolean;
  readonly comparison: RingComparison;
}

/** What a replay reads of a feeder's log. */
export interface RecordedLog extends Pick<RecordStore, "lines" | "thinnedUntil"> {
  /** The state at the end of its thinned log; null where there is none. */
  thinnedState(feeder: string): Promise<ThinnedState | null>;
}

export interface ThinnedState {
  readonly stepped: SteppedState;
  readonly step: number;
  readonly at: Instant;
}
