import type { PracticeFault } from "../contract/api.ts";
import type { Instant } from "../domain/instant.ts";
import type { Grams } from "../domain/units.ts";

export interface PracticeStart {
  readonly name: string;
  readonly key: string;
  /** Its data from before a restart; null where it is new. */
  readonly reportedUntil: Instant | null;
  readonly hopper: Grams | null;
}

/** Runs simulated feeders that report to this server over the same API as real ones. */
export interface PracticeRunner {
  start(feeders: readonly PracticeStart[]): void;
  stop(): Promise<void>;
  /** Gives the simulated feeders this fault from now on; `none` clears it. */
  setFault(fault: PracticeFault): void;
  state(): { readonly running: boolean; readonly fault: PracticeFault };
}
