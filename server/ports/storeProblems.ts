import { type Instant, isoOf } from "../domain/instant.ts";

/** Why the store stored nothing. */

/** The database is locked by another process; nothing was stored, try again. */
export class StoreBusy extends Error {
  override readonly name = "StoreBusy";
}
/** The stored state of this feeder can't be used until it is rebuilt; nothing was stored. */
export class FeederDamaged extends Error {
  override readonly name = "FeederDamaged";
  readonly feeder: string;
  readonly problem: string;
  constructor(feeder: string, problem: string, options?: ErrorOptions) {
    super(`the stored state of feeder ${feeder} is damaged: ${problem}`, options);
    this.feeder = feeder;
    this.problem = problem;
  }
}
/** Lines of a feeder's log can't be read any more. Everything else of the feeder can, and nothing was changed. */
export class PackDamaged extends Error {
  override readonly name = "PackDamaged";
  readonly lines: DamagedLines;
  constructor(feeder: string, lines: DamagedLines, options?: ErrorOptions) {
    const day = isoOf(lines.firstAt).slice(0, 10); // a pack is of one UTC day
    super(
      `the stored log of feeder ${feeder} is damaged: its lines from step ${lines.firstStep} on, of ${day}, can't be read`,
      options,
    );
    this.lines = lines;
  }
}
export interface DamagedLines {
  readonly firstStep: number;
  readonly lastStep: number;
  readonly firstAt: Instant;
  readonly lastAt: Instant;
}
/** The disk is full; nothing was stored. */
export class StoreFull extends Error {
  override readonly name = "StoreFull";
}
/** The file or its disk can't be written to; nothing was stored. */
export class StoreReadOnly extends Error {
  override readonly name = "StoreReadOnly";
}
/** The database is damaged; nothing was stored. */
export class StoreDamaged extends Error {
  override readonly name = "StoreDamaged";
}
/** Whether the store itself is the cause: any other request would fail now too. */
export const isStoreProblem = (error: unknown): boolean =>
  [StoreBusy, StoreFull, StoreReadOnly, StoreDamaged].some((kind) => error instanceof kind);
