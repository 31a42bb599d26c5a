import { describe, expect, it } from "vitest";
import { siteMakers } from "../../learners/site.ts";
import { judgeChanges } from "./changedDistance.ts";
import { figuresOf } from "./figures.ts";
import { type AdvisedDay, liveProgramme } from "./liveProgramme.ts";

const live = (kind: string, seed: number, days: number): AdvisedDay[] => {
  const make = siteMakers[kind];
  if (make === undefined) throw new Error(`expected a kind of learners, got ${kind}`);
  return [...liveProgramme(make(seed), { firstDate: "2026-03-10", days, firstStage: 1, followsAdvice: false })];
};

describe("the judge of the training record", () => {
  // Fixed seeds: whether the record still tells a site that learns from one that never does. The figures of many are in test/measured.md.
  it("finds advice to move on where birds learn to press, and none where they never do", () => {
    const learning = [1, 2, 3, 4, 5, 6].map((seed) => figuresOf(live("insight", 830_000 + seed, 50)));
    expect(learning.filter(({ everMoved }) => everMoved).length).toBeGreaterThanOrEqual(2);
    const never = [1, 2, 3, 4, 5, 6].map((seed) => figuresOf(live("neverLearns", 830_000 + seed, 50)));
    expect(never.filter(({ everMoved }) => everMoved)).toEqual([]);
  });

  it("counts advice against the truth as wrong: planted", () => {
    const days = live("neverLearns", 830_001, 20);
    const last = days.at(-1) as AdvisedDay;
    const planted = [...days.slice(0, -1), { ...last, advice: { ...last.advice, kind: "moveOn" as const } }];
    expect(figuresOf(days)).toMatchObject({ moves: 0, movesTooEarly: 0, movesAtChance: 0 });
    expect(figuresOf(planted)).toMatchObject({ moves: 1, movesTooEarly: 1, movesAtChance: 1 });
  });

  it("finds the effect of a distance that is set anew, its truth within the interval more often than not", () => {
    const make = siteMakers.insight as NonNullable<(typeof siteMakers)[string]>;
    const { effects, curve } = judgeChanges(make(830_003), "2026-03-10", 1);
    expect([effects.of, curve.of]).toEqual([3, 4]);
    expect(effects.held).toBeGreaterThanOrEqual(2);
  });
});
