/**
 * Wald's sequential probability ratio test (Wald 1947, ch. 3): evidence is added portion by portion, and the test decides
 * as soon as there is enough of it, which is on average sooner than any test of fixed length with the same errors.
 */
export interface SequentialTest {
  /** The last decision; evidence goes on being gathered after it. */
  readonly decision: "open" | "healthy" | "faulty";
  /** Sum of log likelihood ratios, faulty over healthy, since the last decision. */
  readonly evidence: number;
}

export interface ErrorRates {
  readonly falseAlarm: number; // α: probability of deciding "faulty" when healthy
  readonly missed: number; // β: probability of deciding "healthy" when faulty
}

export interface DecisionBounds {
  readonly faultyAbove: number;
  readonly healthyBelow: number;
}

export const initialSequentialTest: SequentialTest = { decision: "open", evidence: 0 };

/** ln((1−β)/α) and ln(β/(1−α)). */
export const waldBounds = ({ falseAlarm, missed }: ErrorRates): DecisionBounds => ({
  faultyAbove: Math.log((1 - missed) / falseAlarm),
  healthyBelow: Math.log(missed / (1 - falseAlarm)),
});

/**
 * Each decision resets the sum. While the decision is faulty, further evidence for the fault isn't added: after a long
 * fault the end would be found too late.
 */
export function updateSequentialTest(test: SequentialTest, logRatio: number, bounds: DecisionBounds): SequentialTest {
  const sum = test.evidence + logRatio;
  if (sum <= bounds.healthyBelow) return { decision: "healthy", evidence: 0 };
  if (test.decision === "faulty") return { decision: "faulty", evidence: Math.min(sum, 0) };
  if (sum >= bounds.faultyAbove) return { decision: "faulty", evidence: 0 };
  return { decision: test.decision, evidence: sum };
}
