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
import {
  initialPayments,
  type Payments,
  paymentFaults,
  updatePaymentsByCutShort,
  updatePaymentsByDeposit,
  updatePaymentsByPortion,
  updatePaymentsByPress,
  updatePaymentsByReport,
} from "../../../server/domain/feed/payments.ts";
import { initialScaleTrack } from "../../../server/domain/feed/scaleTrack.ts";
import { initialSequentialTest, updateSequentialTest, waldBounds } from "../../../server/domain/feed/sequentialTest.ts";
import { logStudentDensity } from "../../../server/domain/feed/studentDensity.ts";
import { after, type Instant, minutes, seconds } from "../../../server/domain/instant.ts";
import type { Portion } from "../../../server/domain/report.ts";
import { grams } from "../../../server/domain/units.ts";
import { dawn, portionAt, rowanSettings } from "../hopper/rowan.ts";

const settings = rowanSettings();
const at = (second: number): Instant => after(dawn, seconds(second));

describe("what is owed", () => {
  const deposit =
    (second: number, seq: number, { received = second, paused = false, metal = true as boolean | null } = {}) =>
    (payments: Payments) =>
      updatePaymentsByDeposit(
        payments,
        { kind: "deposit", metal, signal: null, chute: null, seq, recordedAt: at(second) } as never,
        at(received),
        paused,
      );
  const press =
    (second: number, seq: number, { received = second, paused = false } = {}) =>
    (payments: Payments) =>
      updatePaymentsByPress(payments, { seq, recordedAt: at(second) }, at(received), paused);
  const portion =
    (second: number, different: Partial<Portion> = {}, fell: boolean | null = true) =>
    (payments: Payments) =>
      updatePaymentsByPortion(payments, portionAt(at(second), { cause: "deposit", ...different }), fell);
  const report =
    (second: number, { spooled = 0 as number | null, paused = false, now = second } = {}) =>
    (payments: Payments) =>
      updatePaymentsByReport(payments, at(second), spooled, paused, at(now));
  const run = (...steps: readonly ((payments: Payments) => Payments)[]) =>
    steps.reduce((payments, step) => step(payments), initialPayments);
  const owed = (...steps: Parameters<typeof run>) => run(...steps).owed.map(({ seq }) => seq);
  const unpaid = (...steps: Parameters<typeof run>) => run(...steps).unpaid.map(({ seq }) => seq);

  it("is a portion for each deposit of metal, received within half an hour, while the feeder isn't paused", () => {
    expect(owed(deposit(0, 1))).toEqual([1]);
    expect(owed(deposit(0, 1, { metal: null }))).toEqual([1]);
    expect(owed(deposit(0, 1, { metal: false }))).toEqual([]);
    expect(owed(deposit(0, 1, { paused: true }))).toEqual([]);
    expect(owed(deposit(0, 1, { received: 1_800 }))).toEqual([1]);
    expect(owed(deposit(0, 1, { received: 1_801 }))).toEqual([]);
  });

  it("is one portion for two trips of the detector within two seconds", () => {
    expect(run(deposit(0, 7), deposit(2, 8)).owed).toMatchObject([{ seq: 7, lastSeq: 8, at: at(0) }]);
    expect(run(deposit(2, 8), deposit(0, 7)).owed).toMatchObject([{ seq: 7, lastSeq: 8 }]);
    expect(owed(deposit(0, 7), deposit(2.1, 8))).toEqual([7, 8]);
  });

  it("is none for a press within half a minute of a portion or of another press", () => {
    expect(owed(press(0, 1), press(29, 2), press(30, 3))).toEqual([1, 3]);
    expect(owed(portion(0, { cause: "timer" }), press(29, 1))).toEqual([]);
    expect(owed(portion(0, { cause: "timer" }), press(30, 1))).toEqual([1]);
    expect(owed(press(0, 1, { paused: true }), press(40, 2, { received: 1_841 }))).toEqual([]);
  });

  it("is paid by a portion that names it within two minutes, or by one that follows within ten seconds", () => {
    const left = (second: number, paysFor: number | null, cause: "deposit" | "press" | "timer" = "deposit") =>
      owed(deposit(0, 7), portion(second, { paysFor, cause }));
    expect([left(120, 7), left(120.1, 7), left(5, 8)]).toEqual([[], [7], [7]]);
    expect([left(13, null), left(13.1, null), left(-3, null), left(-3.1, null)]).toEqual([[], [7], [], [7]]);
    expect([left(5, null, "press"), left(5, null, "timer")]).toEqual([[7], [7]]);
    expect(owed(deposit(0, 7), deposit(2, 8), portion(5, { paysFor: 8 }))).toEqual([]);
  });

  it("is paid by a portion that was reported before it", () => {
    expect(owed(portion(5, { paysFor: 7 }), deposit(0, 7))).toEqual([]);
    expect(owed(portion(121, { paysFor: 7 }), deposit(0, 7))).toEqual([7]);
    expect(owed(portion(5, { paysFor: 7 }, false), deposit(0, 7))).toEqual([7]);
    expect(run(portion(5, { paysFor: 7 }), deposit(0, 7)).earlyPayments).toEqual([]);
  });

  it("stays owed where the portion was empty or cut short, which its text says", () => {
    expect(run(deposit(0, 7), portion(5, { paysFor: 7 }, false)).owed).toMatchObject([
      { seq: 7, portionWasEmpty: true },
    ]);
    const cut = (different: Partial<Portion>) =>
      updatePaymentsByCutShort(
        run(deposit(0, 7), deposit(60, 8)),
        portionAt(at(5), { cause: "deposit", ...different }),
      ).owed.map(({ cutShort }) => cutShort ?? false);
    expect(cut({ paysFor: 7 })).toEqual([true, false]);
    expect(cut({ paysFor: null })).toEqual([true, false]);
    const reason = (payments: Payments, hasFoodStopped = false) =>
      paymentFaults(payments, hasFoodStopped, at(100), false)[0]?.reason;
    const interrupted = updatePaymentsByReport(
      updatePaymentsByCutShort(run(deposit(0, 7)), portionAt(at(5), { cause: "deposit" })),
      at(60),
      0,
      false,
      at(60),
    );
    expect(reason(interrupted)).toBe("A deposit got no portion: the portion was interrupted.");
    const empty = run(deposit(0, 7), portion(5, { paysFor: 7 }, false), report(60));
    expect([reason(empty), reason(empty, true)]).toEqual([
      undefined,
      "A deposit got no portion: the motor ran, but no food was seen to fall.",
    ]);
  });

  it("is proven unpaid by a report that was sent and received half a minute later, of a feeder without events left", () => {
    expect(unpaid(deposit(0, 7), report(29))).toEqual([]);
    expect(unpaid(deposit(0, 7), report(30))).toEqual([7]);
    expect(unpaid(deposit(0, 7, { received: 10 }), report(35, { now: 39 }))).toEqual([]);
    expect(unpaid(deposit(0, 7, { received: 10 }), report(35, { now: 40 }))).toEqual([7]);
    expect(unpaid(deposit(0, 7), report(60, { spooled: 1 }))).toEqual([]);
    expect(unpaid(deposit(0, 7), report(60, { spooled: null }))).toEqual([7]);
    expect(run(deposit(0, 7), report(60, { paused: true })).owed).toEqual([]);
    expect(run(deposit(0, 7), deposit(50, 8), report(60))).toMatchObject({
      owed: [{ seq: 8 }],
      unpaid: [{ seq: 7 }],
      unpaidCount: 1,
    });
  });

  it("is a fault for a press only where nine of ten were answered, of ten at least", () => {
    const answered = (count: number, more: readonly boolean[] = []) =>
      [...Array.from({ length: count }, () => true), ...more].flatMap((isPaid, n) => [
        press(100 * n, n),
        ...(isPaid ? [portion(100 * n + 1, { cause: "press", paysFor: n })] : []),
        report(100 * n + 50),
      ]);
    expect(unpaid(...answered(9, [false]))).toEqual([]);
    expect(unpaid(...answered(10, [false]))).toEqual([10]);
    expect(run(...answered(10, [false])).pressesAnsweredShare).toBeCloseTo(0.9, 9);
    expect(unpaid(...answered(10, [false, false, false])).length).toBeLessThan(3);
  });

  it("is over with the next one that is paid, for what came before it", () => {
    const two = [deposit(0, 7), deposit(100, 8), report(200)] as const;
    expect(run(...two)).toMatchObject({ unpaid: [{ seq: 7 }, { seq: 8 }], unpaidCount: 2 });
    expect(run(...two, deposit(300, 9), portion(301, { paysFor: 9 }))).toMatchObject({ unpaid: [], unpaidCount: 0 });
    expect(run(...two, portion(60, { paysFor: 7 }))).toMatchObject({ unpaid: [{ seq: 8 }], unpaidCount: 1 });
  });

  it("is shown with how many in a row, four at most by their numbers, for a day", () => {
    const five = run(...[0, 100, 200, 300, 400].map((second, n) => deposit(second, n)), report(500));
    const [fault] = paymentFaults(five, false, at(500), false);
    expect(fault?.reason).toBe("A deposit got no portion. 5 in a row.");
    expect(fault?.evidence.map(({ label }) => label)).toEqual(["deposit 1", "deposit 2", "deposit 3", "deposit 4"]);
    expect(paymentFaults(five, false, after(at(400), minutes(24 * 60)), false)).toHaveLength(1);
    expect(paymentFaults(five, false, after(at(401), minutes(24 * 60)), false)).toEqual([]);
    expect(paymentFaults(five, false, at(500), true)).toEqual([]);
    expect(run(...Array.from({ length: 20 }, (_, n) => deposit(100 * n, n))).owed).toHaveLength(16);
  });
});

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
  const counted = (count: number | null, drawn: number | null = null): PortionObservation => ({
    countLogLikelihoods: count === null ? null : countLogLikelihoods(chute, count),
    didFall: count === null ? null : count > 0,
    current:
      drawn === null
        ? null
        : {
            drawn: 5.5 + drawn,
            expected: { mean: 5.5, variance: 0.0036, shift: 0, shiftVariance: 0.0004, shiftVarianceGrowth: 0.0001 },
          },
  });
  const after1 = (observation: PortionObservation, leader: Hypothesis | null = null, from = initialStatistics) =>
    updateStatisticsByPortion(from, observation, track, leader);

  it("is the log likelihood ratio of the count, less what fades with each portion", () => {
    const logs = countLogLikelihoods(chute, 0);
    const { trayJammed, chuteBlind, scaleStuck } = after1(counted(0));
    expect(trayJammed.sum).toBeCloseTo(logs.nothing - logs.healthy - 0.05, 9);
    expect(chuteBlind.sum).toBeCloseTo(logs.blind - logs.healthy - 0.05, 9);
    expect(scaleStuck.sum).toBeCloseTo(-0.05, 9);
    expect(trayJammed.portions).toBe(1);
    expect(after1(counted(null)).trayJammed.sum).toBe(0); // no sensor saw it: nothing fades either
  });

  it("of a tray that runs empty weighs a part of a portion against none", () => {
    const logs = countLogLikelihoods(chute, 1);
    const [shrunk, nothing] = [0.7 * Math.exp(logs.shrunk), 0.3 * Math.exp(logs.nothing)];
    const { emptyTray } = after1(counted(1));
    expect(emptyTray.sum).toBeCloseTo(Math.log(shrunk + nothing) - logs.healthy - 0.05, 9);
    expect(emptyTray.dryingProbability).toBeCloseTo(shrunk / (shrunk + nothing), 9);
    const next = updateStatisticsByPortion({ ...initialStatistics, emptyTray }, counted(null), track, null).emptyTray;
    expect(next.dryingProbability).toBeCloseTo(emptyTray.sum > 0 ? 0.72 * emptyTray.dryingProbability : 0.7, 9);
  });

  it("is that of the motor's current by Student's density, with the shift that the fault gives it", () => {
    const [from, to] = faultSignatures.trayJammed.shift ?? [0, 0];
    const [shift, spread] = [(from + to) / 2, (to - from) ** 2 / 12 + 0.0004];
    const { trayJammed } = after1(counted(null, 0.2));
    const ratio = logStudentDensity(0.2 - shift, 0.0036 + spread) - logStudentDensity(0.2, 0.0036 + 0.0004);
    expect(trayJammed.sum).toBeCloseTo(ratio - 0.05, 9);
    const gain = spread / (0.0036 + spread);
    expect(trayJammed.shift).toBeCloseTo(shift + gain * (0.2 - shift), 9);
    expect(trayJammed.shiftVariance).toBeCloseTo(spread * (1 - gain), 9);
    // Food was seen to fall: whatever the motor drew, that is no evidence against it.
    const logs = countLogLikelihoods(chute, 4);
    expect(after1(counted(4, 0.2)).trayJammed.sum).toBeCloseTo(logs.nothing - logs.healthy - 0.05, 9);
  });

  it("is limited to thirty a portion, either way", () => {
    expect(after1(counted(null, 1.3)).motorStalled.sum).toBeLessThanOrEqual(30 - 0.05);
    const refuted = after1({
      ...counted(null),
      countLogLikelihoods: { healthy: 0, nothing: -99, shrunk: -99, blind: -99, halfBlind: -99, undercounting: -99 },
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

  it("of others than the diagnosed fault fades only by what it gains on that one", () => {
    const logs = countLogLikelihoods(chute, 0);
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
      chuteBlind: { ...jammed },
      motorStalled: { ...jammed, portions: 0 },
    };
    const next = updateStatisticsByReading(from, track, 1_015, 2);
    expect(next.trayJammed.sum).toBeCloseTo(
      3 + logStudentDensity(-5, 20 + 2 + 9) - logStudentDensity(15, 16 + 2 + 9),
      9,
    );
    expect(next.trayJammed.scaleEstimate.level).toBeLessThan(1_020);
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
  });

  it("is of one part of the feeder or another", () => {
    const parts = (one: Hypothesis) => hypotheses.filter((other) => isSamePart(one, other));
    expect(parts("trayJammed")).toEqual(["emptyTray", "trayJammed", "motorStalled", "motorNotTurning"]);
    expect(parts("chuteBlind")).toEqual(["chuteBlind", "chuteHalfBlind", "chuteUndercounting"]);
    expect(parts("scaleStuck")).toEqual(["scaleStuck"]);
  });

  it("makes each cause as probable as Bayes' rule says, from how often it begins", () => {
    const of = (
      level: Parameters<typeof causeProbabilities>[1],
      different: Partial<Record<Hypothesis, number>> = {},
      jumped = false,
      which = settings,
    ) =>
      Object.fromEntries(
        causeProbabilities(sums(different), level, which, jumped).map(({ cause, probability }) => [cause, probability]),
      );
    const { bridged, jammed, stalled, still, blind, halfBlind, fewSeen, scaleStuck } = onsetProbabilities;
    const unknown = jammed + bridged;
    const total = unknown + bridged + jammed + stalled + still + blind + halfBlind + fewSeen + scaleStuck;
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
    expect(causeProbabilities(sums({ motorStalled: 9 }), null, settings, false)[0]?.cause).toBe("motorStalled");
    expect(causes).toHaveLength(8);
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
