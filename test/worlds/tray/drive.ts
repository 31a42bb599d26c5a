import type { PlantedFault } from "./plantedFault.ts";
import type { Random } from "./random.ts";
import { day } from "./time.ts";

/** What the drive does in one run. */
export interface DriveRun {
  /** How fast it moves food, 1 as built; 0: not at all. */
  readonly strength: number;
  readonly meanMilliamps: number;
  readonly peakMilliamps: number;
}

interface DriveState {
  readonly at: number;
  readonly volts: number; // of nominal
  readonly celsius: number;
  readonly fill: number; // of the hopper, 0 to 1: what stands above the tray damps it
  readonly ohms: number; // of the wires
}

/**
 * What shakes the tray: an electromagnet that pulls leaf springs, or a motor with an eccentric weight. The magnet's pull grows
 * with the square of the current, and its springs work near resonance, so that load and warmth detune them. The motor's speed
 * follows the voltage less its friction, and grease stiffens in the cold. Textbook physics; the widths are common practice, no source.
 */
export class Drive {
  private readonly random: Random;
  private readonly fault: PlantedFault;
  private readonly begin: number;
  private readonly build;
  private looseness = 0; // screws that shake loose, until a keeper tightens them

  constructor(random: Random, fault: PlantedFault, begin: number) {
    this.random = random;
    this.fault = fault;
    this.begin = begin;
    const magnet = random.chance(0.5);
    const nominal = magnet ? random.logBetween(200, 1500) : random.logBetween(70, 700);
    this.build = {
      magnet,
      nominal,
      nominalVolts: random.pick([5, 12, 12]),
      peakFactor: magnet ? random.between(1.05, 2.8) : random.between(1.5, 5),
      copperShare: magnet ? random.between(0.3, 1) : random.between(0.1, 0.4),
      detuning: random.normal(0, magnet ? 0.006 : 0.002), // of strength, a kelvin
      damping: random.between(0, 0.15), // of strength, from an empty hopper to a full one
      friction: random.between(0.05, 0.4), // share of the motor's current
      wearYear: random.between(-0.05, 0.25), // of the current
      looseningWeek: random.logBetween(0.001, 0.03),
      noise: random.logBetween(0.008, 0.06),
      // The one that measures the current: a shunt's and an amplifier's errors.
      gain: 1 + random.normal(0, 0.04),
      offset: random.normal(0, 4),
      step: random.pick([0.1, 1, 1, 2, 5]),
      jammed: magnet ? random.between(0.88, 1.35) : random.between(1.25, 2.6),
      partly: magnet ? random.between(0.97, 1.12) : random.between(1, 1.35),
      partlyShare: random.logBetween(0.04, 0.4),
      stalled: magnet ? random.between(1.5, 3.5) : random.between(2.2, 5.5),
    };
  }

  run(state: DriveState): DriveRun {
    const { build, random } = this;
    const { at } = state;
    if (this.fault.is("motorWireOff", at)) return this.measured(0, 0, 0);
    const volts = state.volts * (1 - Math.min(0.3, (state.ohms * build.nominal) / 1000 / build.nominalVolts));
    const usual = this.usualCurrent(state, volts) * random.logNormal(build.noise);
    const peak = usual * (1 + (build.peakFactor - 1) * random.between(0.85, 1.1));
    if (this.fault.is("motorStalled", at)) {
      // It takes what its winding lets through; a resettable fuse, where there is one, makes less of it.
      const current = build.nominal * volts * build.stalled * random.between(0.93, 1.05);
      return this.measured(0, current, Math.max(current * random.between(1, 1.1), 0.9 * peak));
    }
    if (this.fault.is("trayJammed", at)) return this.measured(0, usual * build.jammed, peak * build.jammed ** 0.7);
    const strength = this.usualStrength(state, volts);
    if (this.fault.is("trayPartlyJammed", at)) {
      const share = build.partlyShare * random.logNormal(0.4);
      return this.measured(strength * Math.min(0.6, share), usual * build.partly, peak * build.partly);
    }
    return this.measured(strength, usual, peak);
  }

  shakeLoose(span: number): void {
    const most = 0.15;
    this.looseness += ((this.build.looseningWeek * span) / (7 * day)) * (1 - this.looseness / most);
  }

  tighten(): void {
    this.looseness = 0;
  }

  private usualCurrent({ at, celsius, fill }: DriveState, volts: number): number {
    const { build } = this;
    // Copper's resistance grows by 0.393 % a kelvin (textbook).
    const copper = 1 / (1 + 0.00393 * build.copperShare * (celsius - 20));
    const cold = build.magnet ? 1 : 1 + build.friction * 0.012 * Math.max(-25, 20 - celsius);
    const worn = 1 + (build.wearYear * (at - this.begin)) / (365 * day);
    return build.nominal * volts * copper * cold * worn * (1 + 0.3 * build.damping * fill);
  }

  private usualStrength({ celsius, fill }: DriveState, volts: number): number {
    const { build } = this;
    const drive = build.magnet ? volts ** 2 / (1 + 0.00393 * build.copperShare * (celsius - 20)) : volts ** 1.6;
    const tuned = 1 + Math.max(-0.3, Math.min(0.3, build.detuning * (celsius - 20)));
    return drive * tuned * (1 - build.damping * (fill - 0.5)) * (1 - this.looseness);
  }

  private measured(strength: number, mean: number, peak: number): DriveRun {
    const { build, random } = this;
    const shown = (value: number) => {
      const noisy = value * build.gain + build.offset + random.normal(0, 0.4 * build.step);
      return Math.max(0, Math.round(Math.round(noisy / build.step) * build.step * 10) / 10);
    };
    const meanMilliamps = shown(mean);
    return { strength, meanMilliamps, peakMilliamps: Math.max(meanMilliamps, shown(peak)) };
  }
}
