import { expect } from "vitest";
import { emptyRollup, mergeRollups, type Rollup } from "../../../server/domain/history/rollup.ts";
import {
  closedQuarters,
  initialRollups,
  type RollupStep,
  type Rollups,
  updateRollups,
} from "../../../server/domain/history/rollups.ts";
import { decodeRollup, encodeRollup } from "../../../server/domain/history/rollupText.ts";
import { after, hours, type Instant } from "../../../server/domain/instant.ts";

/** What a store would hold: the texts of the quarters, merged as they are handed out. */
export class StoredQuarters {
  rollups: Rollups = initialRollups();
  readonly texts = new Map<Instant, string>();

  take(step: RollupStep): void {
    this.rollups = updateRollups(this.rollups, step);
    this.#store(step.now);
  }

  end(now: Instant): this {
    this.#store(after(now, hours(1)));
    expect(this.rollups.open).toEqual([]);
    return this;
  }

  #store(now: Instant): void {
    const { closed, rollups } = closedQuarters(this.rollups, now);
    this.rollups = rollups;
    for (const { from, rollup } of closed) {
      const known = this.texts.get(from);
      this.texts.set(from, encodeRollup(known === undefined ? rollup : mergeRollups(decodeRollup(known), rollup)));
    }
  }

  within(from: Instant, to: Instant): Rollup {
    const inside = [...this.texts].filter(([begin]) => begin >= from && begin < to);
    return inside.reduce((sum, [, text]) => mergeRollups(sum, decodeRollup(text)), emptyRollup);
  }

  get whole(): Rollup {
    return this.within(0 as Instant, Number.POSITIVE_INFINITY as Instant);
  }
}
