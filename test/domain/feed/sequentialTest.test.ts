import { describe, expect, it } from "vitest";
import {
  initialSequentialTest,
  type SequentialTest,
  updateSequentialTest,
  waldBounds,
} from "../../../server/domain/feed/sequentialTest.ts";
import { seededRandom } from "../../../server/practice/random.ts";

const rates = { falseAlarm: 0.05, missed: 0.1 };
const bounds = waldBounds(rates);

/** Mean number of observations until a decision, by Wald's formula: it ignores the overshoot. */
const averageSampleNumber = (chance: number, step: { event: number; none: number }, faultyShare: number) =>
  (faultyShare * bounds.faultyAbove + (1 - faultyShare) * bounds.healthyBelow) /
  (chance * step.event + (1 - chance) * step.none);

describe("the sequential test", () => {
  it.each([
    // 2.30259 in the check; ln(0.1/0.01) is ln 10
    { id: "sprt-0.01-0.1", p0: 0.01, p1: 0.1, event: Math.LN10, none: -0.09531, asn0: 27.957, asn1: 16.447 },
    { id: "sprt-0.05-0.2", p0: 0.05, p1: 0.2, event: 1.38629, none: -0.17185, asn0: 21.228, asn1: 17.0 },
    { id: "sprt-0.5-0.8", p0: 0.5, p1: 0.8, event: 0.47, none: -0.91629, asn0: 8.937, asn1: 12.328 },
  ])("has Wald's bounds, steps and sample numbers (check $id, Wald 1947; computed with scipy)", (check) => {
    expect(bounds.faultyAbove).toBeCloseTo(2.89037, 5);
    expect(bounds.healthyBelow).toBeCloseTo(-2.25129, 5);
    const step = { event: bernoulliRatio(true, check.p0, check.p1), none: bernoulliRatio(false, check.p0, check.p1) };
    expect(step.event).toBeCloseTo(check.event, 4);
    expect(step.none).toBeCloseTo(check.none, 4);
    expect(averageSampleNumber(check.p0, step, rates.falseAlarm)).toBeCloseTo(check.asn0, 2);
    expect(averageSampleNumber(check.p1, step, 1 - rates.missed)).toBeCloseTo(check.asn1, 2);
  });

  it("decides on the lines of the NIST e-Handbook 6.2.6 example (check sprt-nist-lines; the lines are from memory)", () => {
    const judged = (happened: readonly boolean[]) =>
      happened.reduce<SequentialTest>(
        (test, yes) => updateSequentialTest(test, bernoulliRatio(yes, 0.01, 0.1), bounds),
        initialSequentialTest,
      );
    const run = (length: number, events: number) => Array.from({ length }, (_, n) => n >= length - events);
    expect(judged(run(23, 0)).decision).toBe("open");
    expect(judged(run(24, 0)).decision).toBe("healthy");
    expect(judged(run(19, 2)).decision).toBe("faulty");
    expect(judged(run(20, 2)).decision).toBe("open");
    expect(judged(run(20, 3)).decision).toBe("faulty");
  });

  it("needs Wald's number of normal values a standard deviation off (check sprt-normal; computed)", () => {
    const drift = (mean: number) => normalRatio(mean, { mean: 0, variance: 1 }, { mean: 1, variance: 1 });
    const asn = (faultyShare: number, step: number) =>
      (faultyShare * bounds.faultyAbove + (1 - faultyShare) * bounds.healthyBelow) / step;
    expect(asn(rates.falseAlarm, drift(0))).toBeCloseTo(3.9884, 3);
    expect(asn(1 - rates.missed, drift(1))).toBeCloseTo(4.7524, 3);
  });

  it("errs no oftener than it was set to", () => {
    const random = seededRandom(5);
    let wrong = 0;
    for (let trial = 0; trial < 4_000; trial += 1) {
      let test = initialSequentialTest;
      while (test.decision === "open")
        test = updateSequentialTest(test, bernoulliRatio(random.uniform() < 0.05, 0.05, 0.2), bounds);
      if (test.decision === "faulty") wrong += 1;
    }
    expect(wrong / 4_000).toBeLessThan(rates.falseAlarm);
    expect(wrong).toBeGreaterThan(0); // the simulation reached what it guards
  });

  it("takes a verdict back as quickly after a thousand bad portions as after one", () => {
    const faulty = (count: number) => {
      let test = initialSequentialTest;
      for (let n = 0; n < count || test.decision !== "faulty"; n += 1) test = updateSequentialTest(test, 2, bounds);
      return test;
    };
    expect(faulty(1_000)).toEqual(faulty(2));
    expect(updateSequentialTest(faulty(1_000), -3, bounds).decision).toBe("healthy");
  });
});

/** Yes-or-no evidence that happens with chance `healthy` or, in a fault, `faulty`. */
const bernoulliRatio = (happened: boolean, healthy: number, faulty: number): number =>
  happened ? Math.log(faulty / healthy) : Math.log((1 - faulty) / (1 - healthy));

/** Normal evidence: how much likelier it is under the faulty mean and variance than under the healthy ones. */
function normalRatio(
  value: number,
  healthy: { readonly mean: number; readonly variance: number },
  faulty: { readonly mean: number; readonly variance: number },
): number {
  const offHealthy = (value - healthy.mean) ** 2 / healthy.variance;
  const offFaulty = (value - faulty.mean) ** 2 / faulty.variance;
  return 0.5 * (offHealthy - offFaulty + Math.log(healthy.variance / faulty.variance));
}
