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
  type PairContext,
  type Pairing,
  pairContext,
} from "../../../server/domain/silence/pairing.ts";
import {
  logBetaSilence,
  logGammaSilence,
  phiExponential,
  phiNormal,
} from "../../../server/domain/silence/tailProbabilities.ts";
import { larchSettings } from "./larch.ts";

const start = instantOf("2026-06-01T08:00:00Z");
const at = (second: number): Instant => after(start, seconds(second));

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
    expect([isLearnt(learnt({ hits: 18.9 }), real), isLearnt(learnt({ hits: 19 }), real)]).toEqual([false, true]);
    const open = learnt({ openMarks: 500 });
    expect(isRunTooLong(open, after(start, hours(47)), real)).toBe(false);
    expect(isRunTooLong(open, after(start, hours(48)), real)).toBe(true);
    expect(isRunTooLong(open, after(start, hours(1)), practice)).toBe(true);
    expect(isRunTooLong(learnt({ openMarks: 500, hits: 18 }), later, real)).toBe(false);
    expect(isRunTooLong(learnt({ openMarks: 1 }), later, real)).toBe(false);
  });

  it("is known after eight caps, which birds bring more seldom, and two companions of the detector count once", () => {
    const ofCaps = pairContext(real, "detector", "perch");
    expect([isLearnt(learnt({ hits: 7.9 }), ofCaps), isLearnt(learnt({ hits: 8 }), ofCaps)]).toEqual([false, true]);
    expect(pairContext(real, "button", "detector")).toEqual(real);
    const firstTooLong = (pair: PairContext) => {
      let openMarks = 1;
      while (!isRunTooLong(learnt({ openMarks }), later, pair)) openMarks += 1;
      return openMarks;
    };
    expect(firstTooLong(ofCaps)).toBeLessThan(firstTooLong(real));
    const [four, three] = [4, 3].map((openMarks) =>
      isRunTooLong(
        learnt({ openMarks, misses: 0.1, missSquares: 0.1 }),
        later,
        pairContext(real, "detector", "detector"),
      ),
    );
    expect([four, three]).toEqual([true, false]);
  });

  it("is learnt only up to what was credible where the run was too long, and again after three such runs", () => {
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

  it("miss later where late ones come oftener and by more: by the exponential tail of late gaps (Coles 2001, chapter 4)", () => {
    const known = minutely(61);
    if (known.kind !== "reporting") throw new Error("expected reports");
    const limit = (lateShare: number, lateExcess: number) => {
      const intervals = { ...known.intervals, mean: 60_000, variance: 12_000 ** 2, lateShare, lateExcess };
      return ((silenceBeginsAt({ ...known, intervals }, settings) ?? start) - known.lastReportAt) / 1_000;
    };
    // One gap may be wrong with mean gap over a year.
    const wanted = Math.log(60 / (365 * 86_400));
    expect(limit(0.1, 60_000)).toBeCloseTo(90 + 60 * (Math.log(0.1) - wanted), -1);
    expect(limit(0.1, 90_000)).toBeCloseTo(90 + 90 * (Math.log(0.1) - wanted), -1);
  });

  it("teach the longest gaps once one is half an interval late", () => {
    const gaps = (second: number) => {
      const state = report(minutely(61), 3_600 + second);
      return state.kind === "reporting" ? state.longGaps.thisQuarter : null;
    };
    expect([gaps(80), gaps(100)]).toEqual([[], [100_000]]);
  });
});
