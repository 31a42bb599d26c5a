import type { Random } from "./random.ts";
import { hour } from "./time.ts";
import type { Warmth } from "./warmth.ts";
import { type Sky, weatherStep } from "./weather.ts";

export type Chemistry = "none" | "leadAcid" | "lithiumIronPhosphate" | "lithiumIon";

/**
 * A mains adapter, or a battery with a panel. So far towards the equator the panel gives several times what the feeder needs: by late
 * morning the battery is full, and the charger turns the rest away.
 */
export class Power {
  readonly chemistry: Chemistry;
  private readonly random: Random;
  private readonly build;
  private charge: number; // 0 to 1
  private amps = 0; // into the battery, on average over the last step

  constructor(random: Random) {
    this.random = random;
    this.chemistry = random.pick([
      "none",
      "leadAcid",
      "leadAcid",
      "lithiumIronPhosphate",
      "lithiumIronPhosphate",
      "lithiumIon",
    ]);
    const load = random.logBetween(0.02, 0.22);
    const dailyHours = 24 * load;
    this.build = {
      load,
      ampHours: dailyHours * random.between(2.5, 9),
      panelAmps: (dailyHours / 4.5) * random.between(2.2, 8),
      ohms: random.logBetween(0.03, 0.3),
      sourceOhms: random.logBetween(0.04, 0.3),
      railIsBattery: random.chance(0.35),
      railVolts: random.pick([5, 5, 5, 12]) * (1 + random.normal(0, 0.012)),
      hotCharging: random.between(45, 62), // above it the charger of lithium cells stops
      recordsLowest: random.chance(0.5),
      signedCurrent: random.chance(0.5),
      has: {
        supplyVolts: random.chance(0.8),
        batteryVolts: this.chemistry !== "none" && random.chance(0.7),
        chargeMilliamps: this.chemistry !== "none" && random.chance(0.45),
      },
    };
    this.charge = random.between(0.75, 1);
  }

  step(sky: Sky, warmth: Warmth, dust: number): void {
    const { build } = this;
    if (this.chemistry === "none") return;
    // Silicon loses about 0.4 % of its power a kelvin above 25 degrees (data sheets, from memory).
    const heatLoss = 1 - 0.004 * Math.max(0, sky.air + 25 * (sky.sunWatts / 1000) - 25);
    const panel = build.panelAmps * (sky.sunWatts / 1000) * heatLoss * (1 - dust);
    const isTooHot = this.chemistry !== "leadAcid" && warmth.battery > build.hotCharging;
    const room = Math.min(1, (1 - this.charge) / 0.07);
    const accepted = isTooHot ? 0 : build.load + Math.min(build.ampHours * 0.35, build.panelAmps) * room;
    this.amps = Math.min(panel, accepted) - build.load;
    this.charge += (this.amps * (weatherStep / hour)) / build.ampHours;
    this.charge = Math.min(1, Math.max(0.15, this.charge)); // the keeper charges it by hand before it is flat
  }

  /** Of nominal: what the motor's speed follows. */
  strength(): number {
    if (this.chemistry === "none" || !this.build.railIsBattery) return 1;
    return this.batteryVolts() / nominalVolts[this.chemistry];
  }

  batteryVolts(): number {
    const { charge, amps } = this;
    const drop = amps * this.build.ohms;
    const nearlyFull = amps > -0.5 * this.build.load ? Math.max(0, (charge - 0.85) / 0.15) : 0;
    switch (this.chemistry) {
      case "none":
        return 0;
      case "leadAcid": // 11.8 V empty to 12.8 V full at rest, 13.6 to 14.4 V while it is kept full (from memory)
        return 11.8 + charge + drop + 1.1 * nearlyFull;
      case "lithiumIronPhosphate": // flat, then steep near both ends
        return 12.9 + 0.4 * charge - 0.8 * Math.exp(-charge / 0.05) + drop + 0.5 * nearlyFull ** 2;
      case "lithiumIon":
        return 3.35 + 0.75 * charge + drop;
    }
  }

  readings(): Readonly<Record<string, number>> {
    const { has, signedCurrent } = this.build;
    const values: Record<string, number> = {};
    if (has.supplyVolts) values.supplyVolts = rounded(this.rail(), 100);
    if (has.batteryVolts) values.batteryVolts = rounded(this.batteryVolts() + this.random.normal(0, 0.006), 100);
    if (has.chargeMilliamps) {
      const flow = 1000 * (signedCurrent ? this.amps : Math.max(0, this.amps + this.build.load));
      values.chargeMilliamps = Math.round(flow + this.random.normal(0, 1.5)) + 0; // JSON has no -0
    }
    return values;
  }

  /** Least that the rail gives while so much flows; null where the board doesn't record it. */
  lowestVolts(milliamps: number): number | null {
    if (!this.build.recordsLowest) return null;
    const sag = (milliamps / 1000) * this.build.sourceOhms * this.random.between(0.8, 1.1);
    return Math.max(0, rounded(this.rail() - sag, 1000));
  }

  private rail(): number {
    const usual = this.build.railIsBattery && this.chemistry !== "none" ? this.batteryVolts() : this.build.railVolts;
    return usual + this.random.normal(0, 0.008);
  }
}

const nominalVolts = { leadAcid: 12.5, lithiumIronPhosphate: 13.2, lithiumIon: 3.8 } as const;
const rounded = (value: number, parts: number): number => Math.round(value * parts) / parts;
