import { describe, expect, it } from "vitest";
import { causeProbabilities, causes } from "../../../server/domain/feed/causeProbabilities.ts";
import { causesText } from "../../../server/domain/feed/causeText.ts";
import { countLogLikelihoods, initialChuteModel, updateChuteModel } from "../../../server/domain/feed/chuteModel.ts";
import {
  faultSignatures,
  type Hypothesis,
  hypotheses,
  isSamePart,
  onsetProbabilities,
} from "../../../server/domain/feed/faultSignatures.ts";
import {
  type FeedDiagnosis,
  sureCause,
  totalProbability,
  updateDiagnosis,
} from "../../../server/domain/feed/feedDiagnosis.ts";
import {
  clearFeedStatistics,
  fixedScaleEstimates,
  type HypothesisStatistics,
  initialStatistics,
  leadingHypothesis,
  limitStatistics,
  type PortionObservation,
  restartScaleEstimates,
  updateStatisticsByPortion,
  updateStatisticsByReading,
} from "../../../server/domain/feed/hypothesisStatistics.ts";
import { initialMotorModel } from "../../../server/domain/feed/motorModel.ts";
import { initialScaleTrack } from "../../../server/domain/feed/scaleTrack.ts";
import { initialSequentialTest, updateSequentialTest, waldBounds } from "../../../server/domain/feed/sequentialTest.ts";
import { logStudentDensity } from "../../../server/domain/feed/studentDensity.ts";
import { grams } from "../../../server/domain/units.ts";
import { dawn, rowanSettings } from "../hopper/rowan.ts";

const settings = rowanSettings();

describe("the evidence for each fault", () => {
  const chute = Array.from({ length: 40 }, () => 4).reduce(updateChuteModel, initialChuteModel);
  const track = {
    ...initialScaleTrack,
    readingAt: dawn,
    level: 1_000,
    variance: 16,
    meanPortion: 8,
    portionVariance: 1,
    noise: 9,
  };
  const logsOf = (count: number) => countLogLikelihoods(chute, count, 0.02);
  const counted = (count: number | null, drawn: number | null = null): PortionObservation => ({
    countLogLikelihoods: count === null ? null : logsOf(count),
    didFall: count === null ? null : count > 0,
    current:
      drawn === null
        ? null
        : {
            drawn: 5.5 + drawn,
            expected: {
              mean: 5.5,
              variance: 0.0036,
              shift: 0,
              shiftVariance: 0.0004,
              shiftVarianceGrowth: 0.0001,
              step: 0,
            },
          },
  });
  const after1 = (observation: PortionObservation, leader: Hypothesis | null = null, from = initialStatistics) =>
    updateStatisticsByPortion(from, observation, track, leader);

  it("is the log likelihood ratio of the count, less what fades with each portion", () => {
    const logs = logsOf(0);
    const { trayJammed, chuteBlind, scaleStuck } = after1(counted(0));
    expect(trayJammed.sum).toBeCloseTo(logs.nothing - logs.healthy - 0.05, 9);
    expect(chuteBlind.sum).toBeCloseTo(logs.blind - logs.healthy - 0.05, 9);
    expect(scaleStuck.sum).toBeCloseTo(-0.05, 9);
    expect(trayJammed.portions).toBe(1);
    expect(after1(counted(null)).trayJammed.sum).toBe(0); // no sensor saw it: nothing fades either
  });

  it("of a tray that runs empty weighs a part of a portion against none", () => {
    const logs = logsOf(1);
    const [shrunk, nothing] = [0.7 * Math.exp(logs.shrunk), 0.3 * Math.exp(logs.nothing)];
    const { emptyTray } = after1(counted(1));
    expect(emptyTray.sum).toBeCloseTo(Math.log(shrunk + nothing) - logs.healthy - 0.05, 9);
    expect(emptyTray.dryingProbability).toBeCloseTo(shrunk / (shrunk + nothing), 9);
    const next = updateStatisticsByPortion({ ...initialStatistics, emptyTray }, counted(null), track, null).emptyTray;
    expect(next.dryingProbability).toBeCloseTo(emptyTray.sum > 0 ? 0.72 * (emptyTray.dryingProbability ?? 0) : 0.7, 9);
  });

  it("is that of the motor's current by Student's density, with the shift that the fault gives it", () => {
    const [from, to] = faultSignatures.trayJammed.shift ?? [0, 0];
    const [shift, spread] = [(from + to) / 2, (to - from) ** 2 / 12 + 0.0004];
    const { trayJammed } = after1(counted(null, 0.2));
    const ratio = logStudentDensity(0.2 - shift, 0.0036 + spread) - logStudentDensity(0.2, 0.0036 + 0.0004);
    expect(trayJammed.sum).toBeCloseTo(ratio - 0.05, 9);
    const gain = spread / (0.0036 + spread);
    expect(trayJammed.currentShift?.mean).toBeCloseTo(shift + gain * (0.2 - shift), 9);
    expect(trayJammed.currentShift?.variance).toBeCloseTo(spread * (1 - gain), 9);
    // Food was seen to fall: whatever the motor drew, that is no evidence against it.
    const logs = logsOf(4);
    expect(after1(counted(4, 0.2)).trayJammed.sum).toBeCloseTo(logs.nothing - logs.healthy - 0.05, 9);
  });

  it("tells the feed's faults apart by the current: easier, harder, blocked or next to nothing", () => {
    const leading = (drawn: number) => leadingHypothesis(after1(counted(null, drawn)));
    expect([-0.07, 0.2, Math.log(3), -4].map(leading)).toEqual([
      "emptyTray",
      "trayJammed",
      "motorStalled",
      "motorNotTurning",
    ]);
  });

  it("is limited to thirty a portion, either way", () => {
    expect(after1(counted(null, 1.3)).motorStalled.sum).toBeLessThanOrEqual(30 - 0.05);
    const refuted = after1({
      ...counted(null),
      countLogLikelihoods: {
        healthy: 0,
        nothing: -99,
        shrunk: -99,
        blind: -99,
        halfBlind: -99,
        undercounting: -99,
      },
    });
    expect(refuted.trayJammed.sum).toBeCloseTo(-30.05, 9);
  });

  it("begins again once it has fallen to zero or below, or after 150 portions", () => {
    const from = (sum: number, portions: number): HypothesisStatistics => ({
      ...initialStatistics,
      trayJammed: { ...initialStatistics.trayJammed, sum, portions },
    });
    const next = (sum: number, portions: number, leader: Hypothesis | null = null) =>
      after1(counted(0), leader, from(sum, portions)).trayJammed;
    expect([next(2, 9).portions, next(-0.1, 9).portions, next(0, 9).portions, next(0, 0).portions]).toEqual([
      10, 1, 10, 1,
    ]);
    expect([next(2, 149).portions, next(2, 150).portions]).toEqual([150, 1]);
    expect(next(2, 149, "trayJammed").portions).toBe(149); // during a diagnosis it stays
  });

  it("counts apart the portions in which no food was seen, since only they can be empty by nature", () => {
    const suspected = { ...initialStatistics, trayJammed: { ...initialStatistics.trayJammed, sum: 20, portions: 3 } };
    const empties = (count: number | null) => after1(counted(count), null, suspected).trayJammed.emptyPortions;
    expect([empties(0), empties(null), empties(1)]).toEqual([1, 1, 0]);
  });

  it("of others than the diagnosed fault fades only by what it gains on that one", () => {
    const logs = logsOf(0);
    const [jammed, blind] = [logs.nothing - logs.healthy, logs.blind - logs.healthy];
    const { trayJammed, chuteBlind } = after1(counted(0), "trayJammed");
    expect(trayJammed.sum).toBeCloseTo(jammed, 9);
    expect(chuteBlind.sum).toBeCloseTo(blind - Math.min(Math.max(0, blind - jammed), 0.05), 9);
  });

  it("by the scale is that of what it should show, and only for faults that it would show", () => {
    const jammed = {
      ...initialStatistics.trayJammed,
      sum: 3,
      portions: 4,
      scaleEstimate: { level: 1_020, variance: 20 },
    };
    const from = {
      ...initialStatistics,
      trayJammed: jammed,
      chuteBlind: { ...jammed, scaleEstimate: null },
      motorStalled: { ...jammed, portions: 0 },
    };
    const next = updateStatisticsByReading(from, track, 1_015, 2);
    expect(next.trayJammed.sum).toBeCloseTo(
      3 + logStudentDensity(-5, 20 + 2 + 9) - logStudentDensity(15, 16 + 2 + 9),
      9,
    );
    expect(next.trayJammed.scaleEstimate?.level).toBeLessThan(1_020);
    expect([next.chuteBlind, next.motorStalled]).toEqual([from.chuteBlind, from.motorStalled]);
    expect(fixedScaleEstimates(from)).toEqual([jammed.scaleEstimate, jammed.scaleEstimate]);
    expect(restartScaleEstimates(from, track).trayJammed.scaleEstimate).toEqual({ level: 1_000, variance: 16 });
  });

  const sums = (different: Partial<Record<Hypothesis, number>>): HypothesisStatistics =>
    Object.fromEntries(
      hypotheses.map((one) => [one, { ...initialStatistics[one], sum: different[one] ?? 0 }]),
    ) as never;
  const sumsOf = (statistics: HypothesisStatistics) =>
    Object.fromEntries(hypotheses.filter((one) => statistics[one].sum !== 0).map((one) => [one, statistics[one].sum]));

  it("leads by the largest sum, and is limited without changing differences", () => {
    const both = sums({ trayJammed: 20, emptyTray: 14 });
    expect(leadingHypothesis(both)).toBe("trayJammed");
    expect(leadingHypothesis(sums({}))).toBe("emptyTray");
    const limited = limitStatistics(both, 12);
    expect([limited.trayJammed.sum, limited.emptyTray.sum, limited.chuteBlind.sum]).toEqual([12, 6, -8]);
    expect(limitStatistics(both, 20)).toBe(both);
  });

  it("against the feed is cleared once food falls again, that against a failing sensor stays", () => {
    const cleared = clearFeedStatistics(
      sums({ trayJammed: 9, chuteBlind: 9, chuteHalfBlind: 9, chuteUndercounting: 3, scaleStuck: 9 }),
      5,
    );
    expect(sumsOf(cleared)).toEqual({ chuteHalfBlind: 5, chuteUndercounting: 3, scaleStuck: 5 });
    const jammed = { ...initialStatistics.trayJammed, sum: 9, portions: 12 };
    expect(clearFeedStatistics({ ...initialStatistics, trayJammed: jammed }, 5).trayJammed.portions).toBe(0);
  });

  it("is of one part of the feeder or another", () => {
    const parts = (one: Hypothesis) => hypotheses.filter((other) => isSamePart(one, other));
    expect(parts("trayJammed")).toEqual([
      "emptyTray",
      "trayJammed",
      "motorStalled",
      "motorNotTurning",
      "trayPartlyJammed",
    ]);
    expect(parts("chuteBlind")).toEqual(["chuteBlind", "chuteHalfBlind", "chuteUndercounting"]);
    expect(parts("scaleStuck")).toEqual(["scaleStuck"]);
  });

  const evidence = (
    different: Partial<Record<Hypothesis, number>>,
    hasJumpedDown = false,
    motor = initialMotorModel,
  ) => ({
    statistics: sums(different),
    scale: { ...initialScaleTrack, hasJumpedDown },
    motor,
  });

  it("makes each cause as probable by Bayes' rule, from how often it begins", () => {
    const of = (
      level: Parameters<typeof causeProbabilities>[1],
      different: Partial<Record<Hypothesis, number>> = {},
      jumped = false,
      which = settings,
    ) =>
      Object.fromEntries(
        causeProbabilities(evidence(different, jumped), level, which).map(({ cause, probability }) => [
          cause,
          probability,
        ]),
      );
    const { bridged, jammed, partlyJammed, stalled, still, blind, halfBlind, fewSeen, scaleStuck } = onsetProbabilities;
    const unknown = jammed + bridged;
    const total =
      unknown + bridged + jammed + partlyJammed + stalled + still + blind + halfBlind + fewSeen + scaleStuck;
    const even = of(null);
    expect(even.hopperEmpty).toBeCloseTo(unknown / total, 9);
    expect(even.chuteHalfBlind).toBeCloseTo((halfBlind + fewSeen) / total, 9);
    expect(even.trayJammed).toBeCloseTo(jammed / total, 9);
    expect(of(null, { trayJammed: 5 }).trayJammed).toBeCloseTo(
      (jammed * Math.exp(5)) / (total + jammed * (Math.exp(5) - 1)),
      9,
    );
    expect(of(null, {}, true).scaleStuck).toBeCloseTo(0.05 / (total - scaleStuck + 0.05), 9);
    const level = (mass: number, high: number) => ({ grams: grams(mass), low: grams(0), high: grams(high) });
    const [full, low, empty] = [level(1_500, 1_600), level(60, 120), level(10, 40)].map(
      (known) => of(known, {}, false, rowanSettings({ scale: false })).hopperEmpty ?? 0,
    );
    expect(full).toBeLessThan(0.02);
    expect(low).toBeGreaterThan(0.9);
    expect(empty).toBeGreaterThan(low ?? 1);
    expect((of(level(1_500, 1_600)).hopperEmpty ?? 0) / (full ?? 1)).toBeCloseTo(0.1, 1); // a scale would have shown it
    expect(causeProbabilities(evidence({ motorStalled: 9 }), null, settings)[0]?.cause).toBe("motorStalled");
    expect(causes).toHaveLength(9);
  });

  it("never makes the motor the cause while its last current is within half and 1.6 times the usual one", () => {
    const probable = (lastMilliamps: number | null) => {
      const motor = { ...initialMotorModel, portionsLearnt: 50, meanLogCurrent: Math.log(100), lastMilliamps };
      const both = causeProbabilities(
        evidence({ motorStalled: 25, motorNotTurning: 25 }, false, motor),
        null,
        settings,
      );
      return (["motorStalled", "motorNotTurning"] as const).map(
        (motorCause) => (both.find(({ cause }) => cause === motorCause)?.probability ?? 0) > 0.4,
      );
    };
    expect([49, 51, 100, 159, 161].map(probable)).toEqual([
      [false, true],
      [false, false],
      [false, false],
      [false, false],
      [true, false],
    ]);
    expect(probable(null)).toEqual([true, true]); // nothing is known of it
  });
});

describe("a diagnosis of the feed", () => {
  const diagnosis = (different: Partial<FeedDiagnosis> = {}): FeedDiagnosis => ({
    since: dawn,
    portionsSince: 1,
    healthEvidence: 0,
    cause: null,
    hypothesis: "trayJammed",
    ...different,
  });
  const named = (
    of: Partial<Record<(typeof causes)[number], number>>,
    different: Partial<FeedDiagnosis> = {},
    scale = true,
  ) =>
    sureCause(
      causes.map((cause) => ({ cause, probability: of[cause] ?? 0 })).sort((a, b) => b.probability - a.probability),
      diagnosis(different),
      scale,
    );

  it("names a cause from 92 % on, while one more portion may decide from 98 % on", () => {
    expect([named({ trayJammed: 0.92 }), named({ trayJammed: 0.919 })]).toEqual(["trayJammed", null]);
    expect([
      named({ trayJammed: 0.98 }, { portionsSince: 0 }),
      named({ trayJammed: 0.979 }, { portionsSince: 0 }),
    ]).toEqual(["trayJammed", null]);
  });

  it("takes both kinds of a failing chute sensor for one, and needs more for it without a scale", () => {
    expect(named({ chuteBlind: 0.5, chuteHalfBlind: 0.45 })).toBe("chuteBlind");
    expect([named({ chuteBlind: 0.99 }, {}, false), named({ chuteBlind: 0.995 }, {}, false)]).toEqual([
      null,
      "chuteBlind",
    ]);
    expect(
      totalProbability(
        [
          { cause: "chuteBlind", probability: 0.4 },
          { cause: "trayJammed", probability: 0.6 },
        ],
        (cause) => cause === "trayJammed",
      ),
    ).toBe(0.6);
  });

  it("keeps a cause until it has become unlikely, and while food begins to fall again", () => {
    expect(named({ motorStalled: 0.74, trayJammed: 0.25 }, { cause: "trayJammed" })).toBe("trayJammed");
    expect(named({ motorStalled: 0.75, trayJammed: 0.24 }, { cause: "trayJammed" })).toBeNull();
    expect(named({ motorStalled: 0.99 }, { cause: "trayJammed", healthEvidence: -1 })).toBe("trayJammed");
    expect(named({ motorStalled: 0.99 }, { healthEvidence: -1 })).toBe("motorStalled");
    expect(sureCause([], diagnosis(), true)).toBeNull();
  });

  it("ends by two portions that fall, or three readings, since one loose kernel is no repair", () => {
    const steps = (step: number, by: "portion" | "reading", count: number) => {
      let current: FeedDiagnosis | null = diagnosis();
      for (let n = 0; n < count && current !== null; n += 1) current = updateDiagnosis(current, step, "emptyTray", by);
      return current;
    };
    expect(steps(-99, "portion", 1)).toMatchObject({ healthEvidence: -4, hypothesis: "trayJammed" });
    expect(steps(-99, "portion", 2)).toBeNull();
    expect(steps(-99, "reading", 2)).toMatchObject({ healthEvidence: -5 });
    expect(steps(-99, "reading", 3)).toBeNull();
    expect(updateDiagnosis(diagnosis({ healthEvidence: -4 }), 9, "emptyTray", "portion")).toMatchObject({
      healthEvidence: 0,
      hypothesis: "emptyTray",
    });
  });

  it("lists its causes as one speaks", () => {
    expect(causesText(["trayJammed"])).toBe("the tray is jammed");
    expect(causesText(["hopperEmpty", "feedBridged", "trayJammed"])).toBe(
      "the hopper is empty, the food is stuck above the tray or the tray is jammed",
    );
  });
});

describe("Wald's test", () => {
  it("has its bounds by the two errors, and decides at them", () => {
    const bounds = waldBounds({ falseAlarm: 0.01, missed: 0.1 });
    expect(bounds.faultyAbove).toBeCloseTo(Math.log(90), 12);
    expect(bounds.healthyBelow).toBeCloseTo(Math.log(0.1 / 0.99), 12);
    const plain = { faultyAbove: 4, healthyBelow: -2 };
    const decide = (...steps: readonly number[]) =>
      steps.reduce((test, step) => updateSequentialTest(test, step, plain), initialSequentialTest);
    expect([decide(3.9), decide(4), decide(-1.9), decide(-2)].map(({ decision }) => decision)).toEqual([
      "open",
      "faulty",
      "open",
      "healthy",
    ]);
    expect(decide(4, 3)).toEqual({ decision: "faulty", evidence: 0 }); // no stock of evidence against the end of a fault
    expect(decide(4, -1)).toEqual({ decision: "faulty", evidence: -1 });
    expect(decide(-2, 3)).toEqual({ decision: "healthy", evidence: 3 });
  });
});
