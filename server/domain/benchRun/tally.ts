import type { Instant, Span } from "../instant.ts";
import type { Celsius, Grams, Volts } from "../units.ts";

/** What a bench run has seen so far, in numbers: bounded, whatever a feeder sends. */
export interface BenchTally {
  readonly portions: readonly BenchPortion[];
  /** The newest weight for each number of portions given, from none on. */
  readonly weights: readonly { readonly portions: number; readonly grams: Grams }[];
  /** Weights while nothing happened: number, mean, and sum of squared differences (Welford 1962). */
  readonly restWeights: { readonly count: number; readonly mean: number; readonly squares: number };
  readonly massBefore: Grams | null; // the last weight before the known mass was put on
  readonly massAfter: Grams | null;
  readonly capHits: number;
  readonly capsWithoutMetal: number; // caps that the detector took for no metal
  readonly pressHits: number;
  /** Hits and presses while nobody did anything, and for how long each was watched. */
  readonly falseHits: number;
  readonly falsePresses: number;
  readonly watched: Span;
  /** Presses and caps that have no portion yet. */
  readonly unpaid: readonly BenchAct[];
  readonly promised: number; // acts that earned a portion
  /** From the act to the start of the motor. */
  readonly latencies: readonly Span[];
  readonly boot: string | null;
  readonly lastAt: Instant | null; // when its readings were taken
  readonly restarts: number;
  readonly heartbeats: Heartbeats;
  readonly supply: { readonly count: number; readonly sum: number; readonly lowest: Volts | null };
  readonly temperature: { readonly low: Celsius; readonly high: Celsius } | null;
}

export interface BenchPortion {
  readonly at: Instant;
  readonly motorRan: Span | null;
  readonly chuteCount: number | null;
  readonly lowestSupply: Volts | null;
  readonly cutShort: boolean;
}

export interface BenchAct {
  readonly act: string; // boot and seq
  readonly at: Instant;
  readonly isPromised: boolean;
}

/** Of the soak, where the feeder reports as it does outdoors. */
export interface Heartbeats {
  readonly lastAt: Instant | null;
  readonly missed: number;
  readonly longestGap: Span;
}

export const initialTally = (): BenchTally => ({
  portions: [],
  weights: [],
  restWeights: { count: 0, mean: 0, squares: 0 },
  massBefore: null,
  massAfter: null,
  capHits: 0,
  capsWithoutMetal: 0,
  pressHits: 0,
  falseHits: 0,
  falsePresses: 0,
  watched: 0 as Span,
  unpaid: [],
  promised: 0,
  latencies: [],
  boot: null,
  lastAt: null,
  restarts: 0,
  heartbeats: { lastAt: null, missed: 0, longestGap: 0 as Span },
  supply: { count: 0, sum: 0, lowest: null },
  temperature: null,
});
