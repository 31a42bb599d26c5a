import type { Instant } from "../instant.ts";
import type { HistoryLevel } from "./historyPlan.ts";
import type { QuarterRollup } from "./quarterChanges.ts";
import { mergeRollups, type Rollup } from "./rollup.ts";
import { dayOf, hourOf, type RollupSpan } from "./rollupSpans.ts";

export interface LevelledRollup extends QuarterRollup {
  readonly level: HistoryLevel;
}

/** The hours and days of quarters, which come in order of time. Only one hour and one day are in memory. */
export function* hoursAndDays(quarters: Iterable<QuarterRollup>, zone: string): Generator<LevelledRollup> {
  const open = [new OpenSpan("hour", (at) => hourOf(at, zone)), new OpenSpan("day", (at) => dayOf(at, zone))];
  for (const quarter of quarters) for (const span of open) yield* span.take(quarter);
  for (const span of open) yield* span.finished();
}

class OpenSpan {
  readonly #level: HistoryLevel;
  readonly #spanOf: (at: Instant) => RollupSpan;
  #open: { readonly span: RollupSpan; rollup: Rollup } | null = null;

  constructor(level: HistoryLevel, spanOf: (at: Instant) => RollupSpan) {
    this.#level = level;
    this.#spanOf = spanOf;
  }

  /** @returns the one before, where it is over */
  take({ from, rollup }: QuarterRollup): readonly LevelledRollup[] {
    if (this.#open !== null && from < this.#open.span.to) {
      this.#open.rollup = mergeRollups(this.#open.rollup, rollup);
      return [];
    }
    const finished = this.finished();
    this.#open = { span: this.#spanOf(from), rollup };
    return finished;
  }

  finished(): readonly LevelledRollup[] {
    return this.#open === null ? [] : [{ level: this.#level, from: this.#open.span.from, rollup: this.#open.rollup }];
  }
}
