import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { instantOf, minutes } from "../../../server/domain/instant.ts";
import type { Recipient } from "../../../server/domain/notification/escalation.ts";
import { type EscalationAction, EscalationChecker } from "./escalationChecker.ts";
import { ada, bo, cilla, type EscalationFunctions, realFunctions, stockholm } from "./escalationScenario.ts";
import { plantedBugs } from "./plantedBugs.ts";

/**
 * Goal: whatever happens to an alarm, its recipients are notified enough and never too much. Method: random recipients and random
 * histories over some days, some of them around a clock change, each lived through under `Judge`, which must find each
 * planted bug as well.
 */

const people = fc
  .tuple(
    ...[ada, bo, cilla].map((one) =>
      fc.record({
        escalationOrder: fc.integer({ min: 1, max: 3 }),
        quietHours: fc.constantFrom(null, { from: "22:00", to: "07:00" }, { from: "12:00", to: "14:00" }),
        urgentBreaks: fc.boolean(),
        phoneCount: fc.constantFrom(0, 1, 2),
        email: fc.constantFrom(null, one.email),
      }),
    ),
  )
  .map((drawn) => [ada, bo, cilla].map((one, n): Recipient => ({ ...one, ...drawn[n] })));

const who = fc.nat(2);
const steps: fc.Arbitrary<EscalationAction[]> = fc.array(
  fc.oneof(
    {
      weight: 6,
      arbitrary: fc.record({
        kind: fc.constant("wait" as const),
        minutes: fc.oneof(fc.integer({ min: 0, max: 40 }), fc.integer({ min: 0, max: 30 * 60 })),
        looks: fc.oneof({ weight: 4, arbitrary: fc.constant(true) }, { weight: 1, arbitrary: fc.constant(false) }),
      }),
    },
    {
      weight: 3,
      arbitrary: fc.record({
        kind: fc.constant("raise" as const),
        priority: fc.constantFrom("urgent" as const, "soon" as const),
      }),
    },
    {
      weight: 2,
      arbitrary: fc.record({
        kind: fc.constantFrom("worsen" as const, "return" as const, "return" as const, "suppress" as const),
      }),
    },
    { weight: 2, arbitrary: fc.record({ kind: fc.constant("acknowledge" as const), who }) },
    { weight: 1, arbitrary: fc.record({ kind: fc.constant("show" as const), who }) },
  ),
  { minLength: 2, maxLength: 24 },
);

const starts = ["2026-03-27T09:00:00Z", "2026-10-23T21:30:00Z", "2026-12-01T08:00:00Z"].map(instantOf);

function firstWrong(rules: EscalationFunctions, runs: number): string | null {
  const checked = fc.check(
    fc.property(people, steps, fc.constantFrom(...starts), (drawn, history, start) => {
      const recipients = { zone: stockholm, people: drawn, escalateAfter: minutes(15) };
      const checker = new EscalationChecker(rules, recipients, start);
      for (const step of history) checker.live(step);
      checker.end();
      if (checker.wrong !== null) throw new Error(checker.wrong);
    }),
    { numRuns: runs, endOnFailure: true },
  );
  if (!checked.failed) return null;
  const { errorInstance, counterexample } = checked;
  return `${errorInstance instanceof Error ? errorInstance.message : "failed"}\n${JSON.stringify(counterexample)}`;
}

describe("any history of an escalation", () => {
  it("notifies nobody too often, nobody in quiet hours, nobody after the end, and in the end everybody whom it must", () => {
    expect(firstWrong(realFunctions, 500)).toBeNull();
  });

  it.each(Object.entries(plantedBugs))("would be caught where %s", (_, plant) => {
    expect(firstWrong(plant(realFunctions), 600)).not.toBeNull();
  });
});
