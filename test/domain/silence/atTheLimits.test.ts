import { describe, expect, it } from "vitest";
import {
  after,
  days,
  hours,
  type Instant,
  instantOf,
  minutes,
  type Span,
  seconds,
} from "../../../server/domain/instant.ts";
import type { FeederEvent, Readings, Report } from "../../../server/domain/report.ts";
import {
  initialChatter,
  isChattering,
  isPossiblyChattering,
  updateChatterByCount,
  updateChatterByGrowth,
} from "../../../server/domain/silence/chatter.ts";
import {
  feederSilentFault,
  initialReporting,
  type ReportingState,
  recordContact,
  silenceAlarmAt,
  silenceBeginsAt,
  updateReporting,
} from "../../../server/domain/silence/feederSilence.ts";
import {
  addLongGap,
  extendQuarter,
  gapDistribution,
  gapExceededPerYear,
  initialLongGaps,
  logGapsPerYear,
} from "../../../server/domain/silence/longGaps.ts";
import {
  addMark,
  closeRun,
  forgetOpenMarks,
  initialPairing,
  isLearnt,
  isRunTooLong,
  type Pairing,
} from "../../../server/domain/silence/pairing.ts";
import { readingFaults } from "../../../server/domain/silence/readingFaults.ts";
import {
  initialRejectedReadings,
  isOftenRejected,
  sensorName,
  updateRejectedReadings,
} from "../../../server/domain/silence/rejectedReadings.ts";
import {
  countFallenPortion,
  countGivenPortion,
  initialScaleActivity,
  scaleSilentFault,
  updateScaleActivity,
} from "../../../server/domain/silence/scaleSilence.ts";
import {
  initialSensors,
  updateSensorsByEvent,
  updateSensorsByReport,
} from "../../../server/domain/silence/sensorActivity.ts";
import {
  logBetaSilence,
  logGammaSilence,
  phiExponential,
  phiNormal,
} from "../../../server/domain/silence/tailProbabilities.ts";
import { grams } from "../../../server/domain/units.ts";
import { barePortion } from "../portionFixture.ts";
import { emptyReadings, larchSettings } from "./larch.ts";

const start = instantOf("2026-06-01T08:00:00Z");
const at = (second: number): Instant => after(start, seconds(second));
const readings = (different: Partial<Readings>): Readings => ({ ...emptyReadings, ...different });

describe("a reading that is impossible", () => {
  const rejected = (pattern: string, every = 60) =>
    [...pattern].reduce(
      (known, sign, n) => updateRejectedReadings(known, sign === "x" ? ["airCelsius"] : [], at(every * n)),
      initialRejectedReadings,
    );

  it("is counted from its first time on, by the share of the last minutes", () => {
    expect(rejected("x")).toEqual({ airCelsius: { share: 0.2, count: 1, firstAt: start, lastReportAt: start } });
    const twice = rejected("xx").airCelsius;
    expect(twice).toMatchObject({ count: 2, firstAt: start, lastReportAt: at(60) });
    // A minute weighs 1 − e^(−1/5), since a mean of five minutes is kept.
    expect(twice?.share).toBeCloseTo(0.2 + 0.8 * (1 - Math.exp(-1 / 5)), 9);
    expect(rejected("x.").airCelsius?.share).toBeCloseTo(0.2 * Math.exp(-1 / 5), 9);
  });

  it("is forgotten once its share is a twentieth", () => {
    expect(rejected("x......").airCelsius).toBeDefined(); // 0.2 e^(−6/5) = 0.06
    expect(rejected("x.......").airCelsius).toBeUndefined(); // 0.2 e^(−7/5) = 0.049
    expect(rejected("x.......")).toEqual({});
    expect(rejected("x........")).toBe(initialRejectedReadings);
  });

  it("is a fault once it makes most of at least four", () => {
    const often = (share: number, count: number) =>
      isOftenRejected({ share, count, firstAt: start, lastReportAt: start });
    expect([often(0.5, 9), often(0.51, 4), often(0.51, 3)]).toEqual([false, true, false]);
  });

  it("belongs to a sensor by the name in the report, or to none", () => {
    expect(sensorName("hopperGrams")).toBe("scale");
    expect(sensorName("portions")).toBeNull();
    expect(updateRejectedReadings(initialRejectedReadings, ["portions"], start)).toEqual({});
    for (const name of [
      "airCelsius",
      "insideCelsius",
      "lidCelsius",
      "humidityPercent",
      "supplyVolts",
      "batteryVolts",
      "batteryCelsius",
      "chargeMilliamps",
      "signalDbm",
    ])
      expect(sensorName(name), name).not.toBeNull();
  });
});

describe("a scale that reports", () => {
  const weight = (value: number | null, more: Partial<Readings> = {}) =>
    readings({ hopper: value === null ? null : grams(value), ...more });
  const unchanged = (fallen: number, given = 0) => {
    let scale = updateScaleActivity(initialScaleActivity(), weight(900), start);
    for (let n = 0; n < fallen; n += 1) scale = countFallenPortion(scale);
    for (let n = 0; n < given; n += 1) scale = countGivenPortion(scale);
    return scale;
  };
  const fault = (scale: ReturnType<typeof unchanged>, isRejected = false) => scaleSilentFault(scale, null, isRejected);

  it("is stuck where eight portions were seen to fall before its newest reading, the same to the last digit", () => {
    const read = (fallen: number, value = 900) => fault(updateScaleActivity(unchanged(fallen), weight(value), at(60)));
    expect(read(7)).toBeNull();
    expect(read(8)?.reason).toBe("The scale reading did not change, although 8 portions were seen to fall.");
    expect(read(8, 899.9)).toBeNull();
    expect(fault(unchanged(9))).toBeNull(); // it was not read since
    expect(read(8)?.evidence).toEqual([
      { label: "weight, unchanged", value: "900 g", at: at(60) },
      { label: "portions seen to fall since", value: "8", at: null },
    ]);
  });

  it("counts from nothing again once its reading changes", () => {
    const changed = updateScaleActivity(unchanged(5, 3), weight(880), at(60));
    expect(changed).toMatchObject({
      lastGrams: 880,
      lastReadAt: at(60),
      portionsFallen: 0,
      fallenAtReading: 0,
      portionsGiven: 0,
      givenAtReading: 0,
    });
    const same = updateScaleActivity(unchanged(5, 3), weight(900), at(60));
    expect(same).toMatchObject({
      lastReadAt: at(60),
      portionsFallen: 5,
      fallenAtReading: 5,
      portionsGiven: 3,
      givenAtReading: 3,
    });
  });

  it("is stuck by portions that nobody saw fall only where the reading was never the same for so long", () => {
    const scale = updateScaleActivity(unchanged(0, 8), weight(900), at(60));
    const constant = {
      value: 900,
      lastReadAt: at(0),
      constantFor: hours(9),
      longestConstant: minutes(10),
      changeCount: 30,
      firstReadAt: after(start, days(-9) as never),
    };
    expect(scaleSilentFault(scale, constant, false)?.reason).toContain("although 8 portions were given");
    expect(scaleSilentFault(scale, { ...constant, constantFor: hours(5) }, false)).toBeNull();
    expect(scaleSilentFault(updateScaleActivity(unchanged(0, 7), weight(900), at(60)), constant, false)).toBeNull();
  });

  it("is silent after ten reports in a row that have other readings but no weight", () => {
    const without = (count: number, more: Partial<Readings>, from = unchanged(0)) =>
      Array.from({ length: count }).reduce<typeof from>(
        (scale) => updateScaleActivity(scale, weight(null, more), at(60)),
        from,
      );
    const air = { air: 5 as never };
    expect(fault(without(9, air))).toBeNull();
    expect(fault(without(10, air))).toMatchObject({
      reason: "The last 10 reports came without the hopper's weight.",
      evidence: [{ value: "10" }, { label: "last weight", value: "900 g", at: start }],
    });
    expect(fault(without(10, air), true)).toBeNull();
    expect(fault(without(10, air, initialScaleActivity()))?.reason).toContain("no report ever had a weight");
    expect(fault(without(10, {}))).toBeNull(); // bare events show nothing
    for (const other of ["inside", "lid", "humidity", "supply", "battery", "signalDbm"] as const)
      expect(fault(without(10, { [other]: 1 })), other).not.toBeNull();
    expect(fault(updateScaleActivity(without(10, air), weight(900), at(70)))).toBeNull();
  });
});

describe("a sensor that counts too much", () => {
  const counts = (count: number, every: number, from = initialChatter(start)) =>
    Array.from({ length: count }, (_, n) => at(every * (n + 1))).reduce(updateChatterByCount, from);

  it("is one count in four seconds more than birds may do, 150 times", () => {
    // A count a second drains by a quarter: after n counts the excess is 1 + 0.75 (n − 1).
    expect(counts(99, 1).excess).toBeCloseTo(1 + 0.75 * 98, 9);
    const [before, found] = [counts(199, 1), counts(200, 1)];
    expect(isChattering(before, at(199))).toBe(false);
    expect(isChattering(found, at(200))).toBe(true);
    expect(found).toMatchObject({ counts: 200, zeroAt: at(1), since: at(200) });
    expect(counts(400, 4).excess).toBeCloseTo(1, 9);
  });

  it("is possibly one at a third of that, from which nothing is learnt any more", () => {
    expect(isPossiblyChattering(counts(66, 1))).toBe(false);
    expect(isPossiblyChattering(counts(67, 1))).toBe(true);
  });

  it("is cleared at half of it, and never lasts longer than a quarter of an hour after its last count", () => {
    const full = counts(2_000, 1);
    expect(full.excess).toBe(225);
    expect(isChattering(full, at(2_000 + 599))).toBe(true); // 150 above 75, a quarter a second
    expect(isChattering(full, at(2_000 + 600))).toBe(false);
  });

  it("is the same one where it counts on, and a new one after it was cleared", () => {
    const first = counts(210, 1);
    expect(updateChatterByCount(first, at(211)).since).toBe(at(200));
    const later = Array.from({ length: 250 }, (_, n) => at(2_000 + n)).reduce(updateChatterByCount, first);
    expect(later.since).not.toBe(at(200));
    expect(later.zeroAt).toBe(at(2_000));
  });

  it("takes the counts of a total only as far as birds can't have made them", () => {
    const grown = (growth: number, span: number) =>
      updateChatterByGrowth(initialChatter(start), growth, seconds(span), at(span));
    expect(grown(100, 400).excess).toBe(0);
    expect(grown(160, 40).excess).toBe(150);
    expect(grown(160, 40)).toMatchObject({ counts: 160, zeroAt: start, since: at(40) });
    expect(updateChatterByGrowth(grown(160, 40), 10, seconds(4), at(44))).toMatchObject({
      counts: 170,
      zeroAt: start,
      since: at(40),
    });
  });

  it("learns nothing from an older count that comes late", () => {
    const known = counts(5, 1);
    expect(updateChatterByCount(known, at(4))).toBe(known);
    expect(updateChatterByCount(known, at(5)).counts).toBe(6);
  });
});

describe("a running total", () => {
  const report = (total: number | null, boot = "b-1", different: Partial<Readings> = {}) =>
    ({
      readings: readings({ counts: { ...emptyReadings.counts, perch: total }, ...different }),
      rejectedReadings: [],
      boot,
    }) satisfies Pick<Report, "readings" | "rejectedReadings" | "boot">;
  const visit = (second: number) => ({ kind: "visit", seq: second, recordedAt: at(second) }) as unknown as FeederEvent;
  const known = updateSensorsByReport(initialSensors(start), report(100), at(60), larchSettings);

  it("that is ahead of the events shows activity, once", () => {
    const grown = updateSensorsByReport(known, report(103), at(120), larchSettings);
    expect(grown.perch).toMatchObject({ total: 103, countedSince: 0, lastCountAt: at(120) });
    expect(grown.button.pairings.perch?.openMarks).toBe(1);
    const same = updateSensorsByReport(grown, report(103), at(180), larchSettings);
    expect(same.perch.lastCountAt).toBe(at(120));
  });

  it("that follows the events shows nothing more", () => {
    const counted = [70, 80].reduce(
      (sensors, second) => updateSensorsByEvent(sensors, visit(second), larchSettings),
      known,
    );
    expect(counted.perch.countedSince).toBe(2);
    const reported = updateSensorsByReport(counted, report(102), at(120), larchSettings);
    expect(reported.perch).toMatchObject({ total: 102, countedSince: 0, lastCountAt: at(80) });
    // One event more than the total knows: it is still to come there.
    expect(updateSensorsByReport(counted, report(101), at(120), larchSettings).perch.countedSince).toBe(1);
  });

  it("begins again with a new boot, and is noted where it decreases within one", () => {
    const rebooted = updateSensorsByReport(known, report(3, "b-2"), at(120), larchSettings);
    expect(rebooted.perch).toMatchObject({ total: 3, decrease: null, lastCountAt: null });
    const fell = updateSensorsByReport(known, report(90), at(120), larchSettings);
    expect(fell.perch.decrease).toEqual({ from: 100, to: 90, at: at(120) });
    const shown = (later: Span) => readingFaults(fell, larchSettings, after(at(120), later)).map(({ kind }) => kind);
    expect([shown(hours(23.9)), shown(hours(24))]).toEqual([["countsBackwards"], []]);
    expect(updateSensorsByReport(known, report(null), at(120), larchSettings).perch.total).toBe(100);
  });

  it("counts birds only while the feeder isn't paused, and silence from its end on", () => {
    const paused = updateSensorsByReport(known, report(100, "b-1", { paused: true }), at(120), larchSettings);
    expect(updateSensorsByEvent(paused, visit(130), larchSettings).button.pairings.perch?.openMarks).toBe(0);
    const resumed = updateSensorsByReport(paused, report(100, "b-1", { paused: false }), at(600), larchSettings);
    expect(resumed.perch.silence.silentSince).toBe(at(600));
    expect(
      updateSensorsByReport(known, report(100, "b-1", { paused: false }), at(600), larchSettings).perch.silence
        .silentSince,
    ).toBe(start);
  });

  it("makes one mark of counts within five seconds", () => {
    const marks = (...seconds: number[]) =>
      seconds.reduce((sensors, second) => updateSensorsByEvent(sensors, visit(second), larchSettings), known).button
        .pairings.perch?.openMarks;
    expect([marks(70, 74.9), marks(70, 75), marks(70, 65.1), marks(70, 65)]).toEqual([1, 2, 1, 2]);
  });
});

describe("a portion", () => {
  const given = (different: object, from = initialSensors(start)) =>
    updateSensorsByEvent(
      from,
      { ...barePortion, seq: 1, recordedAt: at(100), ...different } as FeederEvent,
      larchSettings,
    );

  it("shows the press or the deposit that it pays, where that was not reported within a minute", () => {
    expect(given({ cause: "press" }).button.lastCountAt).toBe(at(100));
    expect(given({ cause: "deposit" }).detector.lastCountAt).toBe(at(100));
    expect(given({ cause: "timer" }).button.lastCountAt).toBeNull();
    expect(given({ cause: "press", paysFor: 7 }).button.lastCountAt).toBeNull();
    const pressed = (second: number) =>
      updateSensorsByEvent(
        initialSensors(start),
        { kind: "press", seq: 0, recordedAt: at(second) } as unknown as FeederEvent,
        larchSettings,
      );
    expect(given({ cause: "press" }, pressed(40)).button.lastCountAt).toBe(at(40));
    expect(given({ cause: "press" }, pressed(39.9)).button.lastCountAt).toBe(at(100));
  });

  it("is fallen or given for the scale, by what the chute sensor counted", () => {
    const { scale, chute } = given({ chuteCount: 3 });
    expect([scale.portionsFallen, scale.portionsGiven, chute.countedSince]).toEqual([1, 0, 3]);
    const [unseen, empty, cut] = [
      given({ chuteCount: null }),
      given({ chuteCount: 0 }),
      given({ chuteCount: null, cutShort: true }),
    ];
    expect([unseen, empty, cut].map(({ scale }) => [scale.portionsFallen, scale.portionsGiven])).toEqual([
      [0, 1],
      [0, 0],
      [0, 0],
    ]);
    expect(given({ chuteCount: 2, cutShort: true }).scale.portionsFallen).toBe(1);
  });
});

describe("a deposit", () => {
  const dropped = (different: object) =>
    updateSensorsByEvent(
      initialSensors(start),
      {
        kind: "deposit",
        seq: 1,
        recordedAt: at(100),
        metal: null,
        chute: null,
        signal: null,
        ...different,
      } as unknown as FeederEvent,
      larchSettings,
    );

  it("is the detector's own signal unless it found no metal, which only the beam can see", () => {
    expect(dropped({ metal: true }).detector.lastCountAt).toBe(at(100));
    expect(dropped({ metal: null }).detector.lastCountAt).toBe(at(100));
    expect(dropped({ metal: false }).detector.lastCountAt).toBeNull();
    expect(dropped({ metal: false, chute: true }).detector.pairings.detector?.openMarks).toBe(1);
    expect(dropped({ metal: false, chute: false }).detector.pairings.detector?.openMarks).toBe(0);
    expect(dropped({ metal: true }).button.pairings.detector?.openMarks).toBe(1);
  });
});

describe("how often a sensor reacts to its companion", () => {
  const real = { practice: false };
  const practice = { practice: true };
  const learnt = (different: Partial<Pairing> = {}): Pairing => ({
    ...initialPairing(start),
    ...{ hits: 60, misses: 60, missSquares: 180, runCount: 60, boutCount: 40, ...different },
  });
  const later = after(start, days(10));

  it("is learnt from the marks before each reaction", () => {
    const three = addMark(addMark(addMark(initialPairing(start))));
    expect(three.openMarks).toBe(3);
    const closed = closeRun(three, later, real);
    expect(closed).toMatchObject({
      hits: 1,
      misses: 2,
      missSquares: 4,
      openMarks: 0,
      runCount: 1,
      boutCount: 1,
      lastBoutAt: later,
    });
    expect(closeRun(closed, later, real)).toBe(closed); // a second press on the same landing
    expect(forgetOpenMarks(three).openMarks).toBe(0);
    expect(forgetOpenMarks(closed)).toBe(closed);
  });

  it("fades by a three-hundredth with each run, and is halved after sixty days", () => {
    const closed = closeRun(addMark(learnt()), later, real);
    expect(closed.hits).toBeCloseTo(60 * (1 - 1 / 300) + 1, 9);
    expect(closed.misses).toBeCloseTo(60 * (1 - 1 / 300), 9);
    expect(closed).toMatchObject({ runCount: 61, since: start });
    const seasons = closeRun(addMark(learnt()), after(start, days(61)), real);
    expect(seasons).toMatchObject({ runCount: 31, since: after(start, days(30.5)) });
    expect(closeRun(addMark(learnt()), after(start, days(60)), real).since).toBe(start);
  });

  it("counts the times that birds came, twenty minutes apart at least", () => {
    const bout = (minute: number) =>
      closeRun(addMark({ ...learnt(), lastBoutAt: start }), after(start, minutes(minute)), real).boutCount;
    expect([bout(19.9), bout(20)]).toEqual([40, 41]);
    expect(closeRun(addMark(initialPairing(start)), start, real).boutCount).toBe(1);
  });

  it("is known after twenty reactions and two days, on a practice yard at once", () => {
    expect([isLearnt(learnt({ hits: 18.9 })), isLearnt(learnt({ hits: 19 }))]).toEqual([false, true]);
    const open = learnt({ openMarks: 500 });
    expect(isRunTooLong(open, after(start, hours(47)), real)).toBe(false);
    expect(isRunTooLong(open, after(start, hours(48)), real)).toBe(true);
    expect(isRunTooLong(open, after(start, hours(1)), practice)).toBe(true);
    expect(isRunTooLong(learnt({ openMarks: 500, hits: 18 }), later, real)).toBe(false);
    expect(isRunTooLong(learnt({ openMarks: 1 }), later, real)).toBe(false);
  });

  it("is learnt only up to what was credible where the run was too long, and anew after three such runs", () => {
    const long = closeRun(learnt({ openMarks: 500 }), later, real);
    expect(long.unusualRuns).toBe(1);
    expect(long.misses).toBeLessThan(60 + 200);
    const credible = Math.round(long.misses - 60 * (1 - 1 / 300));
    expect(isRunTooLong(learnt({ openMarks: credible + 1 }), later, real)).toBe(false);
    expect(isRunTooLong(learnt({ openMarks: credible + 2 }), later, real)).toBe(true);
    expect(closeRun(learnt({ openMarks: 500, unusualRuns: 1 }), later, real).unusualRuns).toBe(2);
    expect(closeRun(learnt({ openMarks: 500, unusualRuns: 2 }), later, real)).toEqual(initialPairing(later));
    expect(closeRun(learnt({ openMarks: 3, unusualRuns: 2 }), later, real).unusualRuns).toBe(0);
  });
});

describe("the probabilities of silence", () => {
  it("are those of the formulas: gamma, beta, normal and exponential", () => {
    // (b / (b + T))^a and Π (m + i) / (h + m + i), written out for small numbers.
    expect(Math.exp(logGammaSilence(3, 10, 5))).toBeCloseTo((10 / 15) ** 3, 12);
    expect(Math.exp(logBetaSilence(2, 3, 2))).toBeCloseTo((3 / 5) * (4 / 6), 12);
    expect(logBetaSilence(2, 3, 0)).toBe(0);
    // Beyond 200 factors Γ(n + m) / Γ(n + m + h) ~ n^-h: the whole product for comparison.
    const product = (hits: number, misses: number, trials: number) =>
      Array.from({ length: trials }, (_, i) => Math.log((misses + i) / (hits + misses + i))).reduce(
        (sum, log) => sum + log,
        0,
      );
    expect(logBetaSilence(20, 5, 200)).toBeCloseTo(product(20, 5, 200), 9);
    expect(Math.abs(logBetaSilence(20, 5, 1_000) / product(20, 5, 1_000) - 1)).toBeLessThan(0.01);
    expect(phiExponential(10 * Math.LN10, 10)).toBeCloseTo(1, 12);
    expect(phiNormal(100, 100, 5)).toBeCloseTo(Math.log10(2), 9);
  });
});

describe("the longest gaps between reports", () => {
  it("are the eight longest of a quarter, and of the one before", () => {
    const many = [3, 9, 1, 7, 5, 8, 2, 6, 4].reduce(
      (gaps, gap) => addLongGap(gaps, gap, at(gap)),
      initialLongGaps(start),
    );
    expect(many.thisQuarter).toEqual([9, 8, 7, 6, 5, 4, 3, 2]);
    expect(addLongGap(many, 2, at(60))).toBe(many);
    const next = addLongGap(many, 10, after(start, days(90)));
    expect(next).toMatchObject({
      quarterStart: after(start, days(90)),
      thisQuarter: [10],
      lastQuarter: many.thisQuarter,
    });
    expect(addLongGap(many, 10, after(start, days(89.9))).lastQuarter).toBeNull();
    expect(addLongGap(many, 10, after(start, days(180)))).toMatchObject({
      quarterStart: after(start, days(180)),
      thisQuarter: [10],
      lastQuarter: [],
    });
    expect(extendQuarter(many, hours(2)).quarterStart).toBe(after(start, hours(2)));
  });

  it("give how often a year a gap is exceeded: a rate at the threshold, less beyond it", () => {
    const distribution = gapDistribution(
      addLongGap(initialLongGaps(start), 300_000, start),
      60_000,
      90_000,
      after(start, days(10)),
    );
    expect(distribution.threshold).toBe(90_000);
    expect(distribution.gapsPerYear).toBeCloseTo(1.5 * 36.5, 9);
    // One gap of 210 s beyond the threshold and three assumed ones of a mean gap; the shape near its presumption of 0.1.
    expect(distribution.shape).toBeCloseTo(0.1, 9);
    expect(distribution.scale).toBeCloseTo(((210_000 + 3 * 60_000) / 4) * 0.9, 6);
    expect(Math.exp(logGapsPerYear(distribution, 90_000))).toBeCloseTo(1.5 * 36.5, 9);
    expect(Math.exp(logGapsPerYear(distribution, 10_000))).toBeCloseTo(1.5 * 36.5, 9);
    const yearly = gapExceededPerYear(distribution, 1);
    expect(Math.exp(logGapsPerYear(distribution, yearly))).toBeCloseTo(1, 9);
    expect(gapExceededPerYear(distribution, 99)).toBe(90_000);
  });
});

describe("the reports of a feeder", () => {
  const every = minutes(1);
  const settings = { ...larchSettings, reportEvery: every };
  const report = (state: ReportingState, second: number, different: object = {}) =>
    updateReporting(state, { boot: "b-1", sentUptime: seconds(second), reportEvery: every, ...different }, at(second));
  const reports = (...times: readonly number[]) =>
    times.reduce((state, second) => report(state, second), initialReporting(start));
  const minutely = (count: number) => reports(...Array.from({ length: count }, (_, n) => 60 * n));

  it("are regular after an hour and four reports without a long gap", () => {
    const isRegular = (state: ReportingState) => state.kind === "reporting" && state.isRegular === true;
    expect([isRegular(minutely(60)), isRegular(minutely(61))]).toEqual([false, true]);
    const slow = [0, 1, 2, 3].map((n) => 1_800 * n);
    const halfHourly = (count: number) =>
      slow
        .slice(0, count)
        .reduce((state, second) => report(state, second, { reportEvery: minutes(30) }), initialReporting(start));
    expect([isRegular(halfHourly(3)), isRegular(halfHourly(4))]).toEqual([false, true]);
    const broken = Array.from({ length: 59 }, (_, n) => 60 * n);
    expect(isRegular(reports(...broken, 59 * 60 + 7_200))).toBe(false);
  });

  it("that miss are an alarm of a regular feeder, and a note of another one that isn't for practice", () => {
    const later = after(start, days(1));
    expect(feederSilentFault(minutely(61), settings, later)?.kind).toBe("feederSilent");
    expect(feederSilentFault(minutely(10), settings, later)?.kind).toBe("reportsIrregular");
    expect(feederSilentFault(minutely(10), { ...settings, practice: true }, later)?.kind).toBe("feederSilent");
    expect(feederSilentFault(initialReporting(start), settings, later)).toBeNull();
    expect(silenceAlarmAt(minutely(10), settings)).toBeNull();
    expect(silenceAlarmAt(minutely(61), settings)).toBe(silenceBeginsAt(minutely(61), settings));
    expect(silenceBeginsAt(initialReporting(start), settings)).toBeNull();
  });

  it("miss for at least a minute and a half, and three intervals", () => {
    const limit = (interval: Span) => {
      const state = updateReporting(
        initialReporting(start),
        { boot: "b", sentUptime: seconds(0), reportEvery: interval },
        start,
      );
      return (silenceBeginsAt(state, { ...settings, reportEvery: interval }) ?? start) - start;
    };
    expect(limit(seconds(10))).toBeGreaterThanOrEqual(seconds(90));
    expect(limit(every)).toBeGreaterThanOrEqual(3 * every);
  });

  it("are not overtaken by a copy of an older one, nor by a clock that was set back", () => {
    const known = reports(0, 60, 120);
    expect(updateReporting(known, { boot: "b-1", sentUptime: seconds(60), reportEvery: every }, at(180))).toBe(known);
    const back = updateReporting(known, { boot: "b-1", sentUptime: seconds(180), reportEvery: every }, at(60));
    expect(back.kind === "reporting" && back.lastReportAt).toBe(at(120));
  });

  it("that can't be read show only that the feeder runs", () => {
    const known = reports(0, 60);
    expect(recordContact(known, at(90))).toEqual({ ...known, lastReportAt: at(90) });
    expect(recordContact(known, at(30))).toEqual(known);
    expect(recordContact(initialReporting(start), at(30))).toEqual(initialReporting(start));
  });

  it("teach no interval where they come within half of it, or from an earlier boot", () => {
    const intervals = (state: ReportingState) => (state.kind === "reporting" ? state.intervals : null);
    const known = reports(0, 60);
    expect(intervals(report(known, 89.9))).toBe(intervals(known));
    expect(intervals(report(known, 90))).not.toBe(intervals(known));
    expect(intervals(report(known, 120, { boot: "b-0", sentUptime: null }))).toBe(intervals(known));
  });

  it("have another interval once the keeper chose it, or after three long gaps in a row", () => {
    const mean = (state: ReportingState) => (state.kind === "reporting" ? state.intervals.mean : null);
    expect(mean(report(reports(0, 60), 120, { reportEvery: minutes(5) }))).toBe(minutes(5));
    const gaps = (count: number) =>
      reports(
        ...Array.from({ length: 61 }, (_, n) => 60 * n),
        ...Array.from({ length: count }, (_, n) => 3_600 + 7_200 * (n + 1)),
      );
    expect(mean(gaps(2))).toBeLessThan(minutes(2));
    expect(mean(gaps(3))).toBe(hours(2));
  });
});
