import type { Instant } from "../domain/instant.ts";
import type { LogEntry } from "./pure/logEntry.ts";

/** A line of a feeder's log, without the feeder. */
export interface RecordLine {
  readonly at: Instant;
  readonly entry:
    | LogEntry
    | { readonly bootNumber: number; readonly report: object }
    | { readonly check: "complete" | "checked" };
}
