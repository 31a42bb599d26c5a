import { describe, expect, it } from "vitest";
import {
  estimatedMissedShare,
  initialSignalModel,
  missedShare,
  relativeCoilResistance,
  residualSpread,
  type SignalModel,
  signalSlope,
  smallestAcceptedSignal,
  updateSignalModel,
} from "../../../server/domain/cold/detectorSignal.ts";
import { logNormalTail } from "../../../server/domain/normalTail.ts";
import { celsius } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";

interface Deposit {
  readonly temperature: number;
  readonly signal: number;
}

const learnt = (deposits: readonly Deposit[]): SignalModel =>
  deposits.reduce<SignalModel>(
    (model, { signal, temperature }) => updateSignalModel(model, signal, celsius(temperature)),
    initialSignalModel(),
  );

/** Caps whose signal falls by so much for each degree of cold. */
function caps(count: number, perDegree: number, spread = 0.03, level = 0.6): Deposit[] {
  const random = seededRandom(count);
  return Array.from({ length: count }, () => {
    const temperature = 10 + random.normal(0, 6);
    return { temperature, signal: level + perDegree * (temperature - 10) + random.normal(0, spread) };
  });
}

/** The same line from all deposits at once, each older one fading by a four-hundredth from the four-hundredth on. */
function line(deposits: readonly Deposit[]) {
  let weights: number[] = [];
  for (let n = 0; n < deposits.length; n += 1) {
    weights = [...(n < 400 ? weights : weights.map((weight) => weight * (1 - 1 / 400))), 1];
  }
  const total = (of: (deposit: Deposit) => number) =>
    deposits.reduce((sum, deposit, n) => sum + (weights[n] as number) * of(deposit), 0);
  const weight = total(() => 1);
  const meanTemperature = total((one) => one.temperature) / weight;
  const meanSignal = total((one) => one.signal) / weight;
  return {
    ...{ weight, meanTemperature, meanSignal },
    temperatureSquares: total((one) => (one.temperature - meanTemperature) ** 2),
    crossProducts: total((one) => (one.temperature - meanTemperature) * (one.signal - meanSignal)),
    signalSquares: total((one) => (one.signal - meanSignal) ** 2),
  };
}

describe("the line of a detector's signal over the temperature", () => {
  it.each([20, 400, 900])("is the weighted least squares line of all %d deposits, the old ones fading", (count) => {
    const deposits = caps(count, 0.004);
    const model = learnt(deposits);
    for (const [what, value] of Object.entries(line(deposits))) {
      expect(model[what as keyof SignalModel], what).toBeCloseTo(value, 6);
    }
  });

  it("rises with warmth where the signals do, and falls where they fall", () => {
    for (const perDegree of [0.004, -0.004]) {
      const model = learnt(caps(400, perDegree, 0.02));
      expect(signalSlope(model, residualSpread(model)) / perDegree).toBeCloseTo(1, 0);
      expect(residualSpread(model)).toBeCloseTo(0.02, 2);
    }
  });

  it("is believed as far as copper's 0.393 % a degree is a likely slope", () => {
    const deposits = caps(40, 0.004);
    const model = learnt(deposits);
    const doubt = (0.05 / (0.00393 * model.meanSignal)) ** 2;
    expect(signalSlope(model, 0.05)).toBeCloseTo(model.crossProducts / (model.temperatureSquares + doubt), 12);
    expect(signalSlope(initialSignalModel(), 0.05)).toBe(0);
    expect(relativeCoilResistance(celsius(20))).toBe(1);
    expect(relativeCoilResistance(celsius(-20))).toBeCloseTo(1 - 0.1572, 9);
  });
});

describe("the weakest signal that was taken", () => {
  it("is remembered for this block of five hundred deposits and the one before", () => {
    const strong = (count: number) => Array.from({ length: count }, () => ({ temperature: 10, signal: 0.6 }));
    const weakest = { temperature: 10, signal: 0.2 };
    expect(smallestAcceptedSignal(initialSignalModel())).toBeNull();
    expect(smallestAcceptedSignal(learnt([...strong(3), weakest, ...strong(3)]))).toBe(0.2);
    expect(smallestAcceptedSignal(learnt([weakest, ...strong(999)]))).toBe(0.2);
    expect(smallestAcceptedSignal(learnt([weakest, ...strong(1_000)]))).toBe(0.6);
  });
});

describe("the share of caps that a cold detector misses", () => {
  const model = learnt(caps(400, 0.004));

  it("is none in mild weather, nor before thirty deposits fell in it", () => {
    expect(missedShare(model, celsius(3))).toBe(0);
    expect(missedShare(learnt(caps(40, 0.02)), celsius(-60))).toBe(0);
    expect(missedShare(model, celsius(-60))).toBeGreaterThan(0);
  });

  it("is the normal tail below the weakest that was taken, beyond what the same says of mild weather", () => {
    const spread = Math.max(0.01, Math.sqrt(model.mildVariance));
    const tail = (x: number) => Math.exp(logNormalTail(x));
    for (const temperature of [-5, -20, -40, -60]) {
      const level = model.meanSignal + Math.max(0, model.recentResidual - spread / 2);
      const expected = level + signalSlope(model, spread) * (temperature - model.meanTemperature);
      const tooWeak = tail((expected - (smallestAcceptedSignal(model) as number)) / spread);
      const usual = tail(-model.mildResidualMin / spread);
      const share = Math.max(0, (tooWeak - usual) / (1 - usual));
      expect(missedShare(model, celsius(temperature)), `${temperature}`).toBeCloseTo(share, 9);
    }
  });

  it("grows with the cold where cold weakens the signal, and is none where cold strengthens it", () => {
    const shares = [-5, -20, -35, -50].map((temperature) => missedShare(model, celsius(temperature)));
    expect([...shares].sort((a, b) => a - b)).toEqual(shares);
    expect(shares.at(-1)).toBeGreaterThan(0.3);
    expect(missedShare(learnt(caps(400, -0.004)), celsius(-50))).toBe(0);
  });

  it("is estimated by the cut normal whose mean lies as far above its cut as what was taken lies above the weakest", () => {
    const spread = Math.max(0.01, Math.sqrt(model.mildVariance));
    const tail = (x: number) => Math.exp(logNormalTail(x));
    // Mean above the cut by adding the density up, in steps of a thousandth of a deviation.
    const meanAbove = (cut: number) => {
      let [weight, moment] = [0, 0];
      for (let value = cut + 0.0005; value < 8; value += 0.001) {
        weight += Math.exp(-0.5 * value * value);
        moment += (value - cut) * Math.exp(-0.5 * value * value);
      }
      return moment / weight;
    };
    const usual = meanCut(-model.mildResidualMin / spread);
    function meanCut(above: number): number {
      let cut = -6;
      while (meanAbove(cut) > above) cut += 0.01;
      return tail(-cut);
    }
    for (const temperature of [2, -5, -12]) {
      const level = model.meanSignal + Math.max(0, model.recentResidual - spread / 2);
      const expected = level + signalSlope(model, spread) * (temperature - model.meanTemperature);
      const above = (expected - (smallestAcceptedSignal(model) as number)) / spread;
      expect(above).toBeGreaterThan(0.4);
      const share = Math.max(0, (meanCut(above) - usual) / (1 - usual));
      expect(estimatedMissedShare(model, celsius(temperature)), `${temperature}`).toBeCloseTo(share, 2);
    }
    expect(estimatedMissedShare(model, celsius(5))).toBe(0);
  });

  it("is less where the last signals lie above the line, as after somebody turned up the gain", () => {
    const louder = { ...model, recentResidual: 0.1 };
    expect(missedShare(louder, celsius(-50))).toBeLessThan(missedShare(model, celsius(-50)));
    // Half a spread is chance.
    const slightly = { ...model, recentResidual: Math.sqrt(model.mildVariance) / 2.1 };
    expect(missedShare(slightly, celsius(-50))).toBe(missedShare({ ...model, recentResidual: 0 }, celsius(-50)));
  });
});
