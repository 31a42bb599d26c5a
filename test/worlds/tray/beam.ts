import type { PlantedFault } from "./plantedFault.ts";
import type { Random } from "./random.ts";
import { day, hour, localDay, minute, summer } from "./time.ts";
import type { Warmth } from "./warmth.ts";
import { type Sky, weatherStep } from "./weather.ts";

/**
 * The light beam across the chute. Grains that fall close together shadow each other, tumbling ones break it twice, small ones
 * half. Dust takes its sight in weeks and dew for a morning. Ants cross it, and spiders build in it where it is warm.
 */
export class Beam {
  private readonly random: Random;
  private readonly fault: PlantedFault;
  private readonly build;
  private dirt: number;
  private dew = 0;
  private webUntil = 0; // grains break it in time
  private webCounts = 0; // an hour, while it stands
  private warmth = 20;
  private lastFall = Number.NEGATIVE_INFINITY;

  constructor(random: Random, fault: PlantedFault) {
    this.random = random;
    this.fault = fault;
    this.build = {
      halfSeenGrams: random.logBetween(0.001, 0.015), // a grain of this mass is seen every other time
      sight: random.between(0.93, 1),
      pulse: random.between(4, 35), // milliseconds in which two grains look like one
      doubles: random.between(0, 0.05),
      dustDaily: random.logBetween(0.0005, 0.006),
      dewShare: random.pick([0, 0, random.between(0, 0.6)]),
      webYearly: random.logBetween(2, 25),
      antsHourly: random.pick([0, 0, random.logBetween(0.02, 2)]),
      fadingShape: random.between(0.8, 2), // of the planted fault's week
    };
    this.dirt = random.between(0, 0.05);
  }

  step(sky: Sky, warmth: Warmth, at: number): void {
    const { build, random } = this;
    this.warmth = sky.air;
    this.dirt = Math.min(0.6, this.dirt + ((build.dustDaily * weatherStep) / day) * (1 + 40 * sky.dust));
    // The lens is no warmer than the lid; the sun dries it within an hour.
    this.dew += 0.08 * ((warmth.lid < sky.dewPoint ? 1 : 0) - this.dew);
    const webs = (build.webYearly / (365 * day)) * (1 + summer(localDay(at)));
    if (at > this.webUntil && sky.sunHeight < 0 && random.chance(webs * weatherStep)) {
      this.webUntil = at + random.exponential(1.5 * day);
      this.webCounts = random.logBetween(0.1, 8);
    }
  }

  clean(): void {
    this.dirt = this.random.between(0, 0.03);
    this.webUntil = 0;
  }

  startRun(): void {
    this.lastFall = Number.NEGATIVE_INFINITY;
  }

  /** @param fallAt milliseconds since the run's begin. @returns how often it counts this grain */
  see(grams: number, fallAt: number, at: number): number {
    const { build, random } = this;
    const gap = fallAt - this.lastFall;
    this.lastFall = fallAt;
    if (at < this.webUntil && random.chance(0.01)) this.webUntil = at;
    if (gap < build.pulse) return 0;
    const size = grams / (grams + build.halfSeenGrams);
    if (!random.chance(build.sight * size * this.light(at))) return 0;
    return random.chance(build.doubles) ? 2 : 1;
  }

  /** What it counts without food. */
  strayCounts(at: number, span: number, sky: Sky): number {
    const antTime = this.warmth > 14 && this.warmth < 38 && sky.rain === 0;
    const ants = antTime ? this.build.antsHourly * 0.3 : 0;
    const web = at < this.webUntil ? this.webCounts * (sky.sunHeight < 0 ? 1 : 0.2) * (0.5 + sky.wind / 4) : 0;
    const mean = ((ants + web) * this.light(at) * span) / hour;
    return mean < 1e-9 ? 0 : this.random.poisson(Math.min(mean, 500));
  }

  private light(at: number): number {
    if (this.fault.is("chuteBlind", at)) return 0;
    const web = at < this.webUntil ? 0.9 : 1;
    const usual = (1 - this.dirt) * (1 - this.build.dewShare * this.dew) * web;
    if (!this.fault.is("chuteDirty", at)) return usual;
    const week = Math.min(1, (at - this.fault.begin()) / (7 * day));
    return week >= 1 - minute / day ? 0 : usual * (1 - week ** this.build.fadingShape);
  }
}
