import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  currentDrift,
  expectedCurrent,
  initialMotorModel,
  logCurrent,
  type MotorModel,
  recordUnlearntCurrent,
  updateMotorModel,
  usualCurrent,
} from "../../../server/domain/feed/motorModel.ts";
import {
  initialScaleTrack,
  readingNoise,
  type ScaleTrack,
  scaleLogLikelihoodRatio,
  updateScaleEstimate,
  updateTrackByPortion,
  updateTrackByReading,
} from "../../../server/domain/feed/scaleTrack.ts";
import { logStudentDensity } from "../../../server/domain/feed/studentDensity.ts";
import { after, hours, type Instant, seconds } from "../../../server/domain/instant.ts";
import { type Celsius, celsius, milliamps } from "../../../server/domain/units.ts";
import { dawn, rowanSettings } from "../hopper/rowan.ts";

const settings = rowanSettings();
const at = (second: number): Instant => after(dawn, seconds(second));

/** Even between the two: `fc.double` draws by exponent. */
const number = (min: number, max: number) =>
  fc.noBias(fc.integer({ min: 0, max: 1_000_000 })).map((n) => min + ((max - min) * n) / 1_000_000);
const always = <Drawn>(property: fc.IProperty<Drawn>) => fc.assert(property, { numRuns: 60 });

/** Two quantities with their covariance, corrected by what measures `h` of them (Welch & Bishop, TR 95-041, 1.11 to 1.13). */
interface Plain {
  readonly x: readonly [number, number];
  readonly p: readonly [number, number, number]; // variances, and the covariance between them in the middle
}
function corrected(
  { x: [a, b], p: [aa, ab, bb] }: Plain,
  [ha, hb]: readonly [number, number],
  measured: number,
  R: number,
): Plain {
  const [pa, pb] = [aa * ha + ab * hb, ab * ha + bb * hb];
  const S = ha * pa + hb * pb + R;
  const step = (measured - ha * a - hb * b) / S;
  return { x: [a + pa * step, b + pb * step], p: [aa - (pa * pa) / S, ab - (pa * pb) / S, bb - (pb * pb) / S] };
}

describe("the motor's usual current, beside plain matrices", () => {
  const models: fc.Arbitrary<MotorModel> = fc
    .record({
      mean: number(4.5, 6.5),
      slope: number(-0.02, 0.02),
      a: number(0.02, 0.2),
      b: number(0.001, 0.01),
      rho: number(-0.9, 0.9),
      spread: number(0.03, 0.2),
      portions: fc.integer({ min: 20, max: 100 }),
    })
    .map(({ mean, slope, a, b, rho, spread, portions }) => ({
      ...initialMotorModel,
      ...{ portionsLearnt: portions, meanLogCurrent: mean, slope, meanVariance: a * a, slopeVariance: b * b },
      ...{ covariance: rho * a * b, variance: spread * spread, referenceCelsius: 5, lastCelsius: 5, learntAt: dawn },
    }));

  it("is the line that least squares give which forget", () => {
    always(
      fc.property(models, number(-0.2, 0.2), number(-20, 20), number(0, 20), (motor, off, degrees, passed) => {
        const kelvin = degrees - 5;
        const drawn = Math.exp(motor.meanLogCurrent + motor.slope * kelvin + off * Math.sqrt(motor.variance));
        const added = Math.min(0.008 ** 2 * passed, 0.15 ** 2);
        const plain = corrected(
          {
            x: [motor.meanLogCurrent, motor.slope],
            p: [motor.meanVariance + added, motor.covariance, motor.slopeVariance],
          },
          [1, kelvin],
          Math.log(drawn),
          motor.variance,
        );
        const updated = updateMotorModel(motor, milliamps(drawn), after(dawn, hours(passed)), celsius(degrees), false);
        expect(updated.meanLogCurrent).toBeCloseTo(plain.x[0], 9);
        expect(updated.slope).toBeCloseTo(plain.x[1], 9);
        expect(updated.meanVariance).toBeCloseTo(Math.max(plain.p[0], 1e-6), 9);
        expect(updated.covariance).toBeCloseTo(plain.p[1], 9);
        expect(updated.slopeVariance).toBeCloseTo(Math.max(plain.p[2], 1e-8), 9);
      }),
    );
  });

  it("is expected with the variance of that line at this temperature, and with what an hour adds", () => {
    always(
      fc.property(models, number(-20, 20), number(0, 20), (motor, degrees, passed) => {
        const kelvin = degrees - 5;
        const expected = expectedCurrent(motor, after(dawn, hours(passed)), celsius(degrees), milliamps(240));
        const added = Math.min(0.008 ** 2 * passed, 0.15 ** 2);
        const ofLine = motor.meanVariance + 2 * kelvin * motor.covariance + kelvin * kelvin * motor.slopeVariance;
        expect(expected?.mean).toBeCloseTo(motor.meanLogCurrent + kelvin * motor.slope, 9);
        expect(expected?.shiftVariance).toBeCloseTo(ofLine + added, 9);
        expect(expected?.shiftVarianceGrowth).toBeCloseTo(added, 12);
        expect(expected).toMatchObject({ shift: 0, variance: motor.variance });
      }),
    );
  });

  const learnt = (count: number, current = 240, from = initialMotorModel, inside: Celsius | null = celsius(5)) =>
    Array.from({ length: count }).reduce<MotorModel>(
      (motor, _, n) => updateMotorModel(motor, milliamps(current), at(60 * (n + 1)), inside, true),
      from,
    );

  it("is unknown before eight portions, and then a number of milliamperes at the last temperature", () => {
    expect([usualCurrent(learnt(7)), expectedCurrent(learnt(7), at(999), null, milliamps(240))]).toEqual([null, null]);
    expect(usualCurrent(learnt(8))).toBeCloseTo(240, 6);
    const sloped = { ...learnt(8), slope: -0.01, lastCelsius: -5 };
    expect(usualCurrent(sloped)).toBeCloseTo(240 * Math.exp(0.1), 6);
    expect(logCurrent(milliamps(0))).toBe(0);
    // A portion without a temperature doesn't change that temperature.
    expect(learnt(1, 240, learnt(8)).lastCelsius).toBe(5);
    expect(learnt(1, 240, learnt(8), null).lastCelsius).toBe(5);
    expect(learnt(1, 240, learnt(8), celsius(-2)).lastCelsius).toBe(-2);
  });

  it("changes faster where no temperature is reported, up to 0.15", () => {
    const growth = (passed: number, inside: Celsius | null) =>
      expectedCurrent(learnt(20), after(at(1_200), hours(passed)), inside, milliamps(240))?.shiftVarianceGrowth;
    expect(growth(1, celsius(5))).toBeCloseTo(0.008 ** 2, 12);
    expect(growth(1, null)).toBeCloseTo(0.033 ** 2, 12);
    expect(growth(99, null)).toBeCloseTo(0.15 ** 2, 12);
    expect(growth(-1, null)).toBe(0);
  });

  it("isn't learnt from an early outlier unless food was seen to fall", () => {
    const few = learnt(3);
    const outlier = (factor: number, fell: boolean, from = few) =>
      updateMotorModel(from, milliamps(240 * factor), at(300), celsius(5), fell);
    expect(outlier(2, false)).toEqual({ ...few, lastMilliamps: 480 });
    expect(outlier(1.6, false).portionsLearnt).toBe(4);
    expect(outlier(2, true).portionsLearnt).toBe(4);
    expect(outlier(2, false, learnt(8)).portionsLearnt).toBe(9);
  });

  it("is at once that of another motor where food falls with a quite different current", () => {
    const known = learnt(60);
    const replaced = updateMotorModel(known, milliamps(480), at(9_000), celsius(5), true);
    expect(Math.exp(replaced.meanLogCurrent)).toBeGreaterThan(440);
    expect(replaced.slope).toBe(known.slope);
    expect(replaced).not.toHaveProperty("baseline");
    expect(known.baseline?.portions).toBeGreaterThan(0);
    const unseen = updateMotorModel(known, milliamps(480), at(9_000), celsius(5), false);
    expect(Math.exp(unseen.meanLogCurrent)).toBeLessThan(300);
    expect(unseen.baseline?.portions).toBe((known.baseline?.portions ?? 0) + 1);
  });

  it("has a baseline from thirty portions on, against which it drifts", () => {
    expect(currentDrift(learnt(29))).toBeNull();
    expect(learnt(30).baseline).toMatchObject({ portions: 0, at: at(1_800) });
    const worn = { ...learnt(30), meanLogCurrent: Math.log(300), meanVariance: 0.0004 };
    const drift = currentDrift({
      ...worn,
      baseline: { meanLogCurrent: Math.log(240), variance: 0.0005, at: dawn, portions: 7 },
    });
    expect(drift).toMatchObject({ since: dawn, portions: 7 });
    expect(drift?.share).toBeCloseTo(0.25, 9);
    expect(drift?.logRatio).toBeCloseTo(Math.log(1.25), 9);
    expect(drift?.deviation).toBeCloseTo(0.03, 9);
  });

  it("is set off by a current that isn't learnt from, as far as weather may explain it", () => {
    const motor = learnt(20);
    const expected = {
      mean: Math.log(240),
      variance: 0.005,
      shift: 0,
      shiftVariance: 0.01,
      shiftVarianceGrowth: 0,
      step: 0,
    };
    const offset = (factor: number) =>
      recordUnlearntCurrent(motor, milliamps(240 * factor), at(2_000), expected).unlearntOffset;
    const gain = 0.01 / 0.015;
    expect(offset(1.1)?.shift).toBeCloseTo(gain * Math.log(1.1), 9);
    expect(offset(1.1)?.variance).toBeCloseTo((1 - gain) * 0.01, 12);
    expect(offset(3)?.shift).toBeCloseTo(0.15, 9);
    expect(offset(0.2)?.shift).toBeCloseTo(-0.15, 9);
    expect(recordUnlearntCurrent(motor, milliamps(99), at(2_000), null)).toEqual({ ...motor, lastMilliamps: 99 });
    const shifted = { ...motor, unlearntOffset: { shift: 0.1, variance: 0.002, at: at(2_000) } };
    expect(expectedCurrent(shifted, after(at(2_000), hours(1)), celsius(5), milliamps(240))).toMatchObject({
      shift: 0.1,
      shiftVariance: expect.closeTo(0.002 + 0.008 ** 2, 12),
    });
  });
});

describe("the scale while food falls, beside plain matrices", () => {
  const tracks: fc.Arbitrary<ScaleTrack> = fc
    .record({
      level: number(200, 1_500),
      portion: number(5, 12),
      a: number(3, 30),
      b: number(0.3, 2),
      rho: number(-0.9, 0.9),
      noise: number(2, 40),
    })
    .map(({ level, portion, a, b, rho, noise }) => ({
      ...initialScaleTrack,
      ...{
        readingAt: dawn,
        level,
        variance: a * a,
        meanPortion: portion,
        portionVariance: b * b,
        covariance: rho * a * b,
        noise,
      },
    }));
  const context = { canLearn: true, scaleEstimates: [] };
  /** g² an hour: the zero drifts by half a hundredth of the hopper in a day. */
  const drift = 6 ** 2; // g² an hour, by rain and sun: more than the cell itself, 10 g a day

  it("sinks by the mean portion, whose error is the same each time, or by nothing where it was empty", () => {
    always(
      fc.property(tracks, number(0, 1), (track, empty) => {
        const given = updateTrackByPortion(track, at(60), empty);
        const full = 1 - empty;
        expect(given.level).toBeCloseTo(track.level - full * track.meanPortion, 9);
        // Total variance: the mean of both cases' variances, and the variance of their means.
        const varianceIfFull =
          track.variance - 2 * track.covariance + track.portionVariance + (0.3 * track.meanPortion) ** 2;
        expect(given.variance).toBeCloseTo(
          full * varianceIfFull + empty * track.variance + full * empty * track.meanPortion ** 2,
          6,
        );
        expect(given.covariance).toBeCloseTo(track.covariance - full * track.portionVariance, 9);
        expect(given.portionVariance).toBeCloseTo(track.portionVariance + (0.003 * track.meanPortion) ** 2, 12);
        expect(given).toMatchObject({ lastPortionAt: at(60), portionsSince: 1 });
      }),
    );
    expect(updateTrackByPortion(initialScaleTrack, at(60), 0)).toBe(initialScaleTrack);
  });

  it("is corrected by a reading, and the mean portion with it", () => {
    always(
      fc.property(tracks, number(-8, 8), number(0, 2), (track, off, passed) => {
        const reading = track.level + off;
        const plain = corrected(
          {
            x: [track.level, track.meanPortion],
            p: [track.variance + passed * drift, track.covariance, track.portionVariance],
          },
          [1, 0],
          reading,
          track.noise,
        );
        const { track: updated, addedVariance } = updateTrackByReading(
          track,
          reading,
          after(dawn, hours(passed)),
          settings,
          context,
        );
        expect(addedVariance).toBeCloseTo(passed * drift, 4); // moments are whole milliseconds
        expect(updated.level).toBeCloseTo(plain.x[0], 6);
        expect(updated.meanPortion).toBeCloseTo(Math.min(Math.max(plain.x[1], 1.6), 40), 6);
        expect([updated.variance, updated.covariance, updated.portionVariance]).toEqual(
          plain.p.map((value) => expect.closeTo(value, 6)),
        );
        const fixed = updateTrackByReading(track, reading, after(dawn, hours(passed)), settings, {
          ...context,
          canLearn: false,
        }).track;
        expect([fixed.meanPortion, fixed.portionVariance, fixed.noise]).toEqual([
          track.meanPortion,
          track.portionVariance,
          track.noise,
        ]);
      }),
    );
  });

  const track = {
    ...initialScaleTrack,
    readingAt: dawn,
    level: 1_000,
    variance: 16,
    meanPortion: 8,
    portionVariance: 1,
    noise: 9,
  };
  const read = (
    from: ScaleTrack,
    reading: number,
    second: number,
    scaleEstimates: { level: number; variance: number }[] = [],
  ) => updateTrackByReading(from, reading, at(second), settings, { canLearn: true, scaleEstimates });

  it("begins at its first reading, with the portion that the keeper entered", () => {
    const { track: started, isRestarted } = read(initialScaleTrack, 900, 0);
    expect(started).toMatchObject({
      readingAt: dawn,
      level: 900,
      meanPortion: 8,
      portionVariance: expect.closeTo(2.4 ** 2, 9),
      noise: 16,
      variance: 16,
      covariance: 0,
    });
    expect(isRestarted).toBe(true);
    expect(read({ ...track, readingAt: null }, 900, 0).track).toMatchObject({
      meanPortion: 8,
      portionVariance: 1,
      noise: 9,
    });
  });

  it("ignores a reading six standard deviations off, or fifteen grams, until four agree", () => {
    expect(read(track, 1_029, 0).addedVariance).not.toBeNull();
    const off = read(track, 1_031, 0);
    expect(off).toMatchObject({
      addedVariance: null,
      isRestarted: false,
      track: { level: 1_000, outliers: { grams: 1_031, count: 1 } },
    });
    const again = [1_040, 1_035, 1_050].reduce((step, reading) => read(step.track, reading, 60), off);
    expect(again).toMatchObject({ isRestarted: true, track: { level: 1_050, outliers: null, hasJumpedDown: false } });
    expect(read(off.track, 1_100, 60).track.outliers).toEqual({ grams: 1_100, count: 1 });
    // A hypothesis under which the scale shows just that.
    expect(read(track, 1_100, 0, [{ level: 1_095, variance: 16 }]).addedVariance).not.toBeNull();
  });

  it("has jumped down where it stays far lower, and hardly anything was given", () => {
    const fallen = (portionsSince: number) =>
      [800, 800, 800, 800].reduce((step, reading) => read(step, reading, 60).track, {
        ...track,
        portionsSince,
      } as ScaleTrack).hasJumpedDown;
    expect([fallen(0), fallen(2), fallen(3)]).toEqual([true, true, false]);
  });

  it("learns its noise within an hour after a portion, from readings without one between", () => {
    const noise = (different: Partial<ScaleTrack>, second = 60) =>
      read({ ...track, lastPortionAt: dawn, ...different }, 1_015, second).track.noise;
    expect(noise({})).toBeGreaterThan(9);
    expect(noise({}, 3_601)).toBe(9);
    expect(noise({ portionsSince: 1 })).toBe(9);
    expect(noise({ lastPortionAt: null })).toBe(9);
  });

  it("learns its step from readings that differ, and trusts a coarse one less", () => {
    const after = (...readings: number[]) =>
      readings.reduce<ScaleTrack>((now, reading, index) => read(now, reading, 60 * (index + 1)).track, track);
    const coarse = after(1_000, 1_000, 995, 995, 990, 1_000);
    expect(coarse.step).toBeCloseTo(5 * 1.02, 9); // it had jumped by 10 last
    expect(readingNoise(coarse)).toBeCloseTo(coarse.noise + 2.55 ** 2, 9);
    expect(after(1_000, 999.9, 998).step).toBeCloseTo(0.102, 6); // a fine one, whatever falls between two readings
    expect(after(1_000, 960).step).toBe(0); // a refill, a hand
  });

  it("trusts no change while its zero moved lately without a portion", () => {
    const moved = read(track, 1_012, 3_600).track;
    expect(moved.drift).toBeGreaterThan(5);
    expect(read({ ...track, portionsSince: 1 }, 1_012, 3_600).track.drift).toBe(0);
    const added = (lately: number) => read({ ...track, drift: lately }, 1_000, 3_600).addedVariance ?? 0;
    const usual = 2 * Math.sqrt(drift / 2);
    expect(added(0)).toBeCloseTo(drift, 9);
    expect(added(usual)).toBeCloseTo(drift, 9);
    expect(added(usual + 5)).toBeCloseTo(drift + 25, 6);
    expect(added(-usual - 5)).toBeCloseTo(drift + 25, 6);
  });

  it("speaks for the hypothesis whose level it shows, by Student's density", () => {
    const estimate = { level: 1_060, variance: 25 };
    const density = (residual: number, variance: number) =>
      -4.5 * Math.log(1 + residual ** 2 / (8 * variance)) - 0.5 * Math.log(variance);
    expect(logStudentDensity(3, 4)).toBeCloseTo(density(3, 4), 12);
    expect(scaleLogLikelihoodRatio(track, estimate, 1_040, 2)).toBeCloseTo(
      density(-20, 25 + 2 + 9) - density(40, 16 + 2 + 9),
      9,
    );
    const updated = updateScaleEstimate(estimate, 1_040, 2, 9);
    expect(updated.level).toBeCloseTo(1_060 - (20 * 27) / 36, 9);
    expect(updated.variance).toBeCloseTo((27 * 9) / 36, 9);
  });
});
