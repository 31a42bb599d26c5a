import type { SteppedState } from "../../ports.ts";

/** The present state of a feeder, and which snapshot the log continues. */
export interface KnownState extends SteppedState {
  readonly revision: number;
  readonly snapshot: { readonly slot: number; readonly step: number };
}

/** A state takes some 20 kB of memory. */
const feedersRememberedMax = 2_000;

/**
 * The states of feeders that were in use lately, by their numbers. Only what is on the disk gets in here; a state counts only while
 * the feeder's head has the same revision, so that a step of another process is never overlooked.
 */
export class FeederMemory {
  /** The least recently used first. */
  readonly #states = new Map<number, KnownState>();
  readonly #most: number;

  constructor(most = feedersRememberedMax) {
    this.#most = most;
  }

  get(feederNo: number, revision: number): KnownState | null {
    const known = this.#states.get(feederNo);
    if (known?.revision !== revision) return null;
    this.#states.delete(feederNo);
    this.#states.set(feederNo, known);
    return known;
  }

  set(feederNo: number, known: KnownState): void {
    this.#states.delete(feederNo);
    this.#states.set(feederNo, known);
    for (const oldest of this.#states.keys()) {
      if (this.#states.size <= this.#most) break;
      this.#states.delete(oldest);
    }
  }

  entries(): IterableIterator<[number, KnownState]> {
    return this.#states.entries();
  }
}
