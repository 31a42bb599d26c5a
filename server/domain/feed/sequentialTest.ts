/**
 * Wald's sequential probability ratio test (Wald 1947, ch. 3): evidence is added portion by portion, and the test speaks
 * as soon as there is enough of it, which is on average sooner than any test of fixed length with the same errors.
 */
export interface SequentialTest {
  /** The last decision; evidence goes on being gathered after it. */
  readonly verdict: "open" | "healthy" | "faulty";
  /** Sum of log likelihood ratios, faulty over healthy, since the last decision. */
  readonly evidence: number;
}

export interface ErrorRates {
  readonly falseAlarm: number; // α: chance to call faulty what is healthy
  readonly missed: number; // β: chance to call healthy what is faulty
}

export interface Bounds {
  readonly faultyAbove: number;
  readonly healthyBelow: number;
}

export const openTest: SequentialTest = { verdict: "open", evidence: 0 };

/** ln((1−β)/α) and ln(β/(1−α)). */
export const waldBounds = ({ falseAlarm, missed }: ErrorRates): Bounds => ({
  faultyAbove: Math.log((1 - missed) / falseAlarm),
  healthyBelow: Math.log(missed / (1 - falseAlarm)),
});

/**
 * Each decision starts the sum anew. While the verdict is faulty further bad evidence isn't hoarded: or after a long
 * fault it would take as long to believe that it is over.
 */
export function weigh(test: SequentialTest, logRatio: number, bounds: Bounds): SequentialTest {
  const sum = test.evidence + logRatio;
  if (sum <= bounds.healthyBelow) return { verdict: "healthy", evidence: 0 };
  if (test.verdict === "faulty") return { verdict: "faulty", evidence: Math.min(sum, 0) };
  if (sum >= bounds.faultyAbove) return { verdict: "faulty", evidence: 0 };
  return { verdict: test.verdict, evidence: sum };
}
