/** A bench run as a keeper sees it. Times are ISO 8601 in UTC; sentences are in the server's language. */
export interface BenchView {
  readonly current: BenchRunView | null;
  /** The last ones, the newest first. */
  readonly past: readonly BenchRunView[];
  /** Why none can start now; null: one can. */
  readonly problem: string | null;
  /** Which steps make sense for this feeder, by its sensors. */
  readonly fitted: { readonly detector: boolean; readonly button: boolean; readonly scale: boolean };
  /** What a portion weighs by the feeder's settings; null: never entered. */
  readonly portionGrams: number | null;
}

export interface BenchRunView {
  readonly id: string;
  readonly requestedBy: string;
  readonly startedAt: string;
  readonly ended: { readonly at: string; readonly text: string } | null;
  readonly steps: readonly BenchStepView[];
  /** Null while it goes on. */
  readonly verdict: "ready" | "notReady" | "notKnown" | null;
  readonly verdictText: string | null;
  readonly figures: readonly BenchFigureView[];
  /** Grams a portion as this run shows it; null: it doesn't. */
  readonly portionGrams: number | null;
}

export interface BenchStepView {
  readonly kind: "quiet" | "portions" | "weigh" | "caps" | "presses" | "knownMass" | "soak" | "settle";
  readonly status: "done" | "now" | "next";
  /** When it ends by itself, at the latest; null: it does not go on. */
  readonly endsAt: string | null;
  /** What was counted so far, of how many; null: nothing is counted. */
  readonly count: { readonly seen: number; readonly of: number } | null;
  /** What the feeder answered where it refused; null: it did not. */
  readonly problem: string | null;
  /** The mass to put on the hopper. */
  readonly knownGrams: number | null;
}

export interface BenchFigureView {
  readonly label: string;
  readonly status: "met" | "notMet" | "notKnown" | "notFitted" | "noted";
  readonly value: string;
  readonly limit: string | null;
  readonly reason: string | null;
  /** The same of the run before; null: there was none. */
  readonly before: { readonly value: string; readonly status: BenchFigureView["status"] } | null;
}
