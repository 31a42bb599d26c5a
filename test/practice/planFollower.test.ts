import { describe, expect, it } from "vitest";
import type { SentPlan } from "../../server/contract/plan.ts";
import { after, days, hours, type Instant, instantOf, minutes } from "../../server/domain/instant.ts";
import {
  afterRestart,
  countPortion,
  dueFreeFood,
  earnPortion,
  nextFreeFoodAt,
  type PlanMemory,
  takePlan,
} from "../../server/practice/planFollower.ts";

const midnight = instantOf("2026-01-15T00:00:00Z");
const at = (hour: number) => after(midnight, hours(hour));
const each = { ratios: [1], betweenSeconds: 0 };

function aPlan(changes: Partial<SentPlan> = {}): SentPlan {
  const from = midnight / 1_000;
  const day = { portionsMax: 5, free: [8 * 3_600, 9 * 3_600, 12 * 3_600], frost: [10 * 3_600] };
  return {
    ...{
      version: 1,
      portionsEach: 2,
      frostBelowCelsius: -10,
      paysDepositsOverRation: true,
      press: each,
      deposit: each,
    },
    days: [0, 1].map((index) => ({ ...day, from: from + index * 86_400, to: from + (index + 1) * 86_400 })),
    ...changes,
  };
}

/** Looks each minute, and gives what is due. */
function giveUntil(memory: PlanMemory, from: number, to: number, air: number | null = null) {
  const given: [hour: number, portions: number][] = [];
  let next = memory;
  for (let now = at(from); now < at(to); now = after(now, minutes(1))) {
    const due = dueFreeFood(next, now, air);
    next = due.memory;
    for (let portion = 0; portion < due.portions; portion++) next = countPortion(next, now);
    if (due.portions > 0) given.push([(now - midnight) / hours(1), due.portions]);
  }
  return { given, memory: next };
}

describe("a practice feeder's plan", () => {
  it("gives free food once at each of its times, within the ration, and begins each day anew", () => {
    const { given } = giveUntil(takePlan(null, aPlan(), at(1)), 1, 48);
    expect(given).toEqual([
      [8, 2],
      [9, 2],
      [12, 1], // the ration is five
      [32, 2],
      [33, 2],
      [36, 1],
    ]);
  });

  it("gives more in frost, whatever the ration, and makes nothing up that was missed by more than ten minutes", () => {
    const plan = aPlan({ days: aPlan().days.map((day) => ({ ...day, portionsMax: 0 })) });
    expect(giveUntil(takePlan(null, plan, at(1)), 1, 24, -12).given).toEqual([[10, 1]]);
    const memory = takePlan(null, aPlan(), at(1));
    expect(dueFreeFood(memory, after(at(9), minutes(11)), null).portions).toBe(0);
    expect(dueFreeFood(memory, after(at(9), minutes(9)), null).portions).toBe(2);
  });

  it("says when free food is due next, and that none is after its last day", () => {
    const memory = takePlan(null, aPlan(), at(8.5));
    expect(nextFreeFoodAt(memory)).toBe(at(9));
    const later = giveUntil(memory, 8.5, 13).memory;
    expect(nextFreeFoodAt(later)).toBe(at(32));
    expect(nextFreeFoodAt(dueFreeFood(later, after(midnight, days(2)), null).memory)).toBeNull();
    expect(nextFreeFoodAt(takePlan(null, aPlan(), after(midnight, days(3))))).toBeNull();
  });

  it("counts what was given today also under another plan, whose past times belonged to the one before", () => {
    const { memory } = giveUntil(takePlan(null, aPlan(), at(1)), 1, 9.5);
    const replaced = takePlan(memory, aPlan({ version: 2 }), at(9.5));
    expect(giveUntil(replaced, 9.5, 24).given).toEqual([[12, 1]]);
  });

  it("pays by ratio, by the least interval and by the ration", () => {
    const earned = (memory: PlanMemory, kind: "press" | "deposit", times: readonly Instant[]) => {
      let next = memory;
      return times.map((time) => {
        const { earns, memory: counted } = earnPortion(next, kind, time, time);
        next = earns ? countPortion(counted, time) : counted;
        return earns;
      });
    };
    const every = (count: number) => Array.from({ length: count }, (_, index) => after(at(10), minutes(index)));
    const ratios = takePlan(null, aPlan({ press: { ratios: [1, 3], betweenSeconds: 0 } }), at(1));
    expect(earned(ratios, "press", every(8))).toEqual([true, false, false, true, true, false, false, true]);
    const seldom = takePlan(null, aPlan({ press: { ratios: [1], betweenSeconds: 90 } }), at(1));
    expect(earned(seldom, "press", every(5))).toEqual([true, false, true, false, true]);
    const [soon] = every(1) as [Instant];
    expect(earnPortion(afterRestart(earnPortion(seldom, "press", soon, soon).memory), "press", soon, soon).earns).toBe(
      true,
    );
    const open = takePlan(null, aPlan(), at(1));
    expect(earned(open, "press", every(7))).toEqual([true, true, true, true, true, false, false]);
    expect(earned(open, "deposit", every(7))).toEqual(Array.from({ length: 7 }, () => true));
    const strict = takePlan(null, aPlan({ paysDepositsOverRation: false, press: null }), at(1));
    expect(earned(strict, "deposit", every(6)).at(-1)).toBe(false);
    expect(earned(strict, "press", every(1))).toEqual([false]);
    expect(earnPortion(open, "press", soon, null).earns).toBe(true); // it needs no time
  });
});
