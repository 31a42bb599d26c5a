import type { PlantedFault } from "./fault.ts";
import type { Random } from "./random.ts";
import type { Sky } from "./weather.ts";

/**
 * A piezo plate or a light beam counts what falls through the chute. Small pieces hit too softly to be counted, pieces that fall
 * together count once, a bounce counts twice; rain and hail drum on a piezo; ice takes the force out of the hits. How many: common
 * practice, no source; the forms are those of counting detectors.
 */
export class Chute {
  /** Since this boot. */
  total = 0;
  private readonly random: Random;
  private readonly fault: PlantedFault;
  private readonly isPiezo: boolean;
  private readonly halfSeenGrams: number; // a piece of this mass is counted one time in two
  private readonly width: number; // of that threshold, as a logarithm
  private readonly unevenness: number; // of the threshold from portion to portion: the counts are over-dispersed
  private readonly bounces: number;
  private readonly deadSeconds: number; // after a hit
  private readonly fallSeconds: number;
  private readonly shakeCounts: number; // of a motor run without food
  private readonly rainCounts: number; // a second at 1 mm/h

  constructor(random: Random, fault: PlantedFault) {
    this.random = random;
    this.fault = fault;
    this.isPiezo = random.chance(0.6);
    this.halfSeenGrams = random.logBetween(0.01, 0.15);
    this.width = random.between(0.3, 0.7);
    this.unevenness = random.between(0.1, 0.6);
    this.bounces = random.between(0.02, 0.3);
    this.deadSeconds = random.logBetween(0.002, 0.03);
    this.fallSeconds = random.between(0.2, 1.2);
    this.shakeCounts = this.isPiezo && random.chance(0.5) ? random.logBetween(0.01, 0.3) : 0;
    this.rainCounts = this.isPiezo ? random.logBetween(0.001, 0.1) : 0;
  }

  countPortion(pieces: readonly number[], runSeconds: number, sky: Sky, now: number): number {
    const { random } = this;
    const sight = this.sight(now);
    if (sight === 0) return 0;
    const threshold =
      (this.halfSeenGrams * Math.exp(1.2 * Math.min(1.5, sky.glaze)) * random.factor(this.unevenness)) / sight;
    let hits = 0;
    for (const piece of pieces) {
      if (!random.chance(1 / (1 + (threshold / piece) ** (1.7 / this.width)))) continue;
      hits += 1;
      while (random.chance(this.bounces)) hits += 1;
    }
    // Hits within the dead time are lost: non-paralysable detector (Knoll, "Radiation Detection and Measurement", chapter 4).
    const kept = 1 / (1 + (hits * this.deadSeconds) / this.fallSeconds);
    let count = 0;
    for (let hit = 0; hit < hits; hit += 1) if (random.chance(kept)) count += 1;
    count += random.poisson(sight * (this.shakeCounts + runSeconds * this.falseRate(sky)));
    this.total += count;
    return count;
  }

  /** Between portions, up to now. */
  countWeather(seconds: number, sky: Sky, now: number): void {
    const rate = this.falseRate(sky);
    if (rate > 0) this.total += this.random.poisson(rate * seconds * this.sight(now));
  }

  /** Counts a second by drops, hailstones and gusts. */
  private falseRate({ rain, freezingRain, hail, snowfall, wind, glaze }: Sky): number {
    const drops = rain + freezingRain;
    if (drops === 0 && !hail && wind < 9 && (this.isPiezo || snowfall === 0)) return 0;
    if (!this.isPiezo) return 0.0005 * snowfall + (hail ? 0.01 : 0); // flakes that are blown into the beam
    const damping = Math.exp(-1.5 * glaze);
    return damping * (this.rainCounts * drops ** 1.3 + (hail ? 1.5 : 0) + 0.01 * Math.max(0, wind - 9));
  }

  /** 1 when clean; smaller: a hit must be so much harder; 0: it sees nothing. */
  private sight(now: number): number {
    if (this.fault.active === "chuteBlind") return 0;
    const dirt = this.fault.chuteDirt(now);
    return dirt >= 1 ? 0 : Math.exp(-Math.log(400) * dirt);
  }
}
