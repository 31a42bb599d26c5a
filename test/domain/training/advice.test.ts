import { describe, expect, it } from "vitest";
import { hashedRandom } from "../../../server/domain/seededRandom.ts";
import { type AdviceContext, adviseStage } from "../../../server/domain/training/adviseStage.ts";
import { declineOf } from "../../../server/domain/training/declineWatch.ts";
import { distanceCurve } from "../../../server/domain/training/distanceCurve.ts";
import { isJudgedDay, judgeStage } from "../../../server/domain/training/judgeStage.ts";
import { readyStages } from "../../../server/domain/training/readyStages.ts";
import { siteDay } from "../../../server/domain/training/siteDay.ts";
import type { Stage } from "../../../server/domain/training/stage.ts";
import { stepEffects } from "../../../server/domain/training/stepEffects.ts";
import type { TrainingDay } from "../../../server/domain/training/trainingDay.ts";
import { dayOf, daysOf } from "./dayFixture.ts";

const names = { comeForFood: "Come", pressForFood: "Press", nudgeCap: "Nudge", dropCap: "Drop", fetchCap: "Fetch" };
const stages = readyStages(names);
const stageOf = (kind: Stage["kind"]): Stage => stages.find((stage) => stage.kind === kind) as Stage;
const press = stageOf("pressForFood"); // 40 % of the bouts and 8 acts a day over 3 days; chance 15 %; usually up to 14 days
const well: AdviceContext = { hasFault: false, keptMin: 0.9, hasNext: true, hasPrevious: true };
const advise = (days: readonly TrainingDay[], context: Partial<AdviceContext> = {}, stage = press) =>
  adviseStage(stage, judgeStage(stage, days), { ...well, ...context });

const learning = daysOf(14, (index) => ({ successes: index < 4 ? 1 : 12 }));

describe("the advice", () => {
  it("is to move on where the criterion is met and chance doesn't explain it", () => {
    expect(advise(learning)).toMatchObject({ kind: "moveOn", reasons: ["criterionMet"] });
  });

  it("is to stay at the last stage, and says that it is the last", () => {
    expect(advise(learning, { hasNext: false })).toMatchObject({
      kind: "stay",
      reasons: ["criterionMet", "lastStage"],
    });
  });

  it("is to wait while an alarm of the feeder stands, whatever the birds do: planted", () => {
    expect(advise(learning, { hasFault: true })).toMatchObject({ kind: "wait", reasons: ["faultStands"] });
  });

  it("is to wait where promises are broken, and to pause a cap stage: planted", () => {
    const broken = daysOf(8, () => ({ successes: 12, kept: Array.from({ length: 12 }, (_, n) => n % 3 > 0) }));
    expect(advise(broken)).toMatchObject({ kind: "wait", reasons: ["promisesBroken"], pauseStage: false });
    const caps = broken.map((day) => ({
      ...day,
      ledger: {
        ...day.ledger,
        promises: day.ledger.promises.map((promise) => ({ ...promise, act: "deposit" as const })),
      },
    }));
    expect(advise(caps, {}, stageOf("dropCap"))).toMatchObject({ kind: "wait", pauseStage: true });
    // One broken promise of eight may be chance.
    const once = daysOf(8, (index) => ({
      successes: 12,
      kept: Array.from({ length: 8 }, (_, n) => index > 6 && n > 0),
    }));
    expect(advise(once.slice(0, 0).concat(once.slice(-1)))).toMatchObject({ kind: "notEnoughEvidence" });
  });

  it("is to wait where the feeder was paused or at fault nearly all the time", () => {
    expect(advise(daysOf(6, () => ({ judgedHours: 1 })))).toMatchObject({ kind: "wait", reasons: ["littleJudged"] });
  });

  it("names several caps on the dish in a cap stage, and stays the same: planted", () => {
    const drop = stageOf("dropCap");
    for (const context of [{}, { hasFault: true }]) {
      const without = advise(learning, context, drop);
      expect(advise(learning, { ...context, capsOnDish: 2 }, drop)).toEqual(without); // may be chance
      const several = advise(learning, { ...context, capsOnDish: 3 }, drop);
      expect(several).toEqual({ ...without, reasons: [...without.reasons, "capsOnDish"] });
    }
    expect(advise(learning, { capsOnDish: 9 })).toEqual(advise(learning)); // a stage of presses has no caps
  });

  it("never is to move on because of one good day, nor of few acts a day", () => {
    expect(advise(daysOf(10, (index) => ({ successes: index === 9 ? 20 : 1 }))).kind).not.toBe("moveOn");
    const few = advise(daysOf(14, () => ({ trials: 5, successes: 3 })));
    expect(few).toMatchObject({ kind: "stay", reasons: expect.arrayContaining(["actsTooFew"]) });
  });

  it("is to step back where what was learnt is lost, and where the usual time is over without it: planted", () => {
    const lost = [...learning, ...daysOf(4, () => ({ successes: 1 }))];
    expect(advise(lost)).toMatchObject({ kind: "stepBack", reasons: ["lost"] });
    expect(advise(lost, { hasPrevious: false }).kind).not.toBe("stepBack");
    const never = daysOf(20, () => ({ successes: 2 }));
    expect(advise(never.slice(0, 13)).kind).toBe("stay"); // within the usual time
    expect(advise(never)).toMatchObject({ kind: "stepBack", reasons: ["usualTimeOver", "shareTooLow"] });
    const nothing = daysOf(20, () => ({ successes: 0 }));
    expect(advise(nothing)).toMatchObject({ kind: "stepBack", reasons: ["usualTimeOver", "notAboveChance"] });
  });

  it("is that there is not enough evidence, with few days, few bouts, or no perch switch", () => {
    expect(advise([])).toMatchObject({ kind: "notEnoughEvidence", reasons: ["tooFewDays"] });
    expect(advise(daysOf(3, () => ({ trials: 4, successes: 1 })))).toMatchObject({ reasons: ["tooFewBouts"] });
    const blind = daysOf(5, () => ({ trials: null, acts: 30 }));
    expect(advise(blind)).toMatchObject({ kind: "notEnoughEvidence", reasons: ["noPerch"] });
  });

  it("without a perch switch, is to move on only where acts are many and have grown", () => {
    const grown = daysOf(12, (index) => ({ trials: null, acts: index < 5 ? 3 : 25 + (index % 4) }));
    expect(advise(grown)).toMatchObject({ kind: "moveOn", reasons: ["grownWithoutPerch"] });
    const steady = daysOf(12, (index) => ({ trials: null, acts: 25 + (index % 4) }));
    expect(advise(steady).kind).toBe("stay");
  });

  it("doesn't take birds that are near anyway for birds that come for food: planted", () => {
    const come = stageOf("comeForFood");
    const days = (before: boolean) =>
      daysOf(14, () => ({ trials: 10, successes: 7 })).map((day) => ({
        ...day,
        trials: day.trials?.map((trial, index) => ({ ...trial, before: before ? index < 7 : index === 9 })) ?? null,
      }));
    expect(advise(days(false), {}, come).kind).toBe("moveOn");
    expect(advise(days(true), {}, come).kind).not.toBe("moveOn");
  });

  it("nor birds that are there nearly always, by three good days among many: planted", () => {
    const days = daysOf(20, (index) => ({ trials: 10, successes: index < 17 ? 7 : 9 })).map((day) => ({
      ...day,
      trials: day.trials?.map((trial, index) => ({ ...trial, before: index < 8 })) ?? null,
    }));
    expect(judgeStage(stageOf("comeForFood"), days).recent?.share).toBe(0.9);
    expect(advise(days, {}, stageOf("comeForFood")).kind).not.toBe("moveOn");
  });
});

describe("the intervals of the last days", () => {
  // 30 of 60 on days that are alike, of which seven tell the spread: worth 60 (z/t₆)² = 38.5 trials; values by scipy 1.10.
  it("are Student's for few days, with room above for visits in which no act could come", () => {
    const recent = judgeStage(
      press,
      daysOf(7, () => ({})),
    ).recent;
    expect(recent?.wilson.low).toBeCloseTo(0.349389, 4);
    expect(recent?.wilson.high).toBeCloseTo(0.765425, 4);
    expect(recent?.beta.low).toBeCloseTo(0.346869, 4);
    expect(recent?.beta.high).toBeCloseTo(0.76839, 4);
  });

  it("are wider where days differ more than chance has it, and never end above 1: planted", () => {
    const width = (successes: (index: number) => number) => {
      const { low = 0, high = 0 } =
        judgeStage(
          press,
          daysOf(7, (index) => ({ successes: successes(index) })),
        ).recent?.wilson ?? {};
      expect(high).toBeLessThanOrEqual(1);
      return high - low;
    };
    expect(width((index) => (index % 2 === 0 ? 3 : 17))).toBeGreaterThan(1.5 * width(() => 10));
    expect(width(() => 19)).toBeLessThan(0.3);
  });
});

describe("a day", () => {
  it("tells nothing where most of it could not be judged, or too few bouts came", () => {
    expect(isJudgedDay(dayOf(0))).toBe(true);
    expect(isJudgedDay(dayOf(0, { judgedHours: 3 }))).toBe(false);
    expect(isJudgedDay(dayOf(0, { trials: 2 }))).toBe(false);
    expect(isJudgedDay(dayOf(0, { litHours: 0 }))).toBe(false); // polar night
  });

  it("of two feeders is the sum of both", () => {
    const both = siteDay([dayOf(0, { kept: [true] }), dayOf(0, { trials: null, acts: 4, air: 2, kept: [false] })]);
    expect(both).toMatchObject({ acts: 14, airCelsius: 0, trials: { length: 20 } });
    expect(both.ledger).toMatchObject({ rejectedDeposits: 2, promises: { length: 2 } });
    expect(both.contingency).toMatchObject({ foodAfterAct: 4, noFoodWithoutAct: 18, deltaP: 4 / 6 - 2 / 20 });
    expect(() => siteDay([])).toThrow("at least one feeder");
  });
});

describe("the decline watch", () => {
  const noisy = (index: number, mean: number) => Math.round(mean * (0.85 + 0.3 * hashedRandom(5, 1, index)));

  it("finds birds that do less than before: planted", () => {
    const decline = declineOf(daysOf(18, (index) => ({ acts: noisy(index, index < 15 ? 40 : 12) })));
    expect(decline?.isPlain).toBe(true);
    expect(decline?.ratio).toBeCloseTo(0.3, 1);
  });

  it("says nothing of a steady site, nor of one with too few days", () => {
    expect(declineOf(daysOf(18, (index) => ({ acts: noisy(index, 40) })))?.isPlain).toBe(false);
    expect(declineOf(daysOf(9, () => ({ acts: 40 })))).toBeNull();
  });

  it("subtracts what explains the fall: a feeder that was judged for an eighth of the day, and weather as it was before", () => {
    const paused = daysOf(18, (index) => (index < 15 ? { acts: noisy(index, 40) } : { acts: 10, judgedHours: 2 }));
    expect(declineOf(paused)?.isPlain).toBe(false);
    // Mild days bring fewer birds, and the last ones are mild.
    const mild = (index: number) => index % 3 === 0 || index >= 15;
    const weather = daysOf(18, (index) => ({ acts: noisy(index, mild(index) ? 16 : 40), air: mild(index) ? 8 : -8 }));
    expect(declineOf(weather)?.isPlain).toBe(false);
  });

  it("takes a day without a thermometer for a usual one", () => {
    // All days are cold. Were a missing value 0 °C, the frost of the last days would explain their half.
    const frost = daysOf(18, (index) => ({
      acts: noisy(index, index < 15 ? 40 : 20),
      air: index < 15 ? null : -20 - (index % 3),
    }));
    const mean = declineOf(frost)?.ratio ?? Number.NaN;
    const without = declineOf(frost.map((day) => ({ ...day, airCelsius: null })))?.ratio ?? Number.NaN;
    expect(mean / without).toBeGreaterThan(0.9);
    expect(mean / without).toBeLessThan(1.1);
  });
});

describe("the effect of a dated change", () => {
  const staged = (days: readonly TrainingDay[], stage = press) =>
    days.map((day) => ({ date: day.date, stage, distanceCm: null, day }));

  it("is the difference of the days before and after, without the day of the change", () => {
    const days = staged(daysOf(13, (index) => ({ successes: index < 6 ? 4 : index === 6 ? 20 : 12 })));
    const [effect, ...more] = stepEffects([{ changeId: "c", date: days[6]?.date as string }], days);
    expect(more).toEqual([]);
    expect(effect).toMatchObject({ changeId: "c", before: 0.2, after: 0.6 });
    expect(effect?.limits.low).toBeGreaterThan(0.2);
  });

  it("isn't told where the act before was another one, or nothing follows yet", () => {
    const [before, after] = [
      staged(
        daysOf(6, () => ({})),
        stageOf("dropCap"),
      ),
      staged(daysOf(13, () => ({})).slice(7)),
    ];
    expect(stepEffects([{ changeId: "c", date: "2026-12-07" }], [...before, ...after])).toEqual([]);
    expect(stepEffects([{ changeId: "c", date: "2026-12-06" }], staged(daysOf(6, () => ({}))))).toEqual([]);
  });
});

describe("the distance curve", () => {
  it("falls where the response falls, with the distance of half", () => {
    const days = [5, 50, 100, 200].map((distanceCm) => ({
      distanceCm,
      trials: 40,
      successes: Math.round(40 / (1 + Math.exp((distanceCm - 100) / 30))),
    }));
    const curve = distanceCurve(days);
    expect(curve?.halfAtCm).toBeGreaterThan(90);
    expect(curve?.halfAtCm).toBeLessThan(110);
    for (const { share, limits } of curve?.points ?? []) {
      expect(limits.low).toBeLessThanOrEqual(share);
      expect(limits.high).toBeGreaterThanOrEqual(share);
    }
  });

  it("isn't drawn through two distances, and has no half where it doesn't fall", () => {
    const day = (distanceCm: number, successes: number) => ({ distanceCm, trials: 20, successes });
    expect(distanceCurve([day(5, 10), day(50, 8), day(50, 9)])).toBeNull();
    expect(distanceCurve([day(5, 5), day(50, 8), day(100, 12)])?.halfAtCm).toBeNull();
  });
});
