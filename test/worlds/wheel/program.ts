import type { WorldSensors } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Chute } from "./chute.ts";
import type { Dispenser, Run } from "./dispenser.ts";
import type { PlantedFault } from "./fault.ts";
import type { Ledger } from "./ledger.ts";
import type { CurrentSensor } from "./motor.ts";
import type { Random } from "./random.ts";
import type { Spool } from "./spool.ts";
import { type Place, sunAltitude } from "./sun.ts";
import type { Supply } from "./supply.ts";
import { hour, minute, second } from "./time.ts";
import type { Weather } from "./weather.ts";

/**
 * The program on the feeder: records what its sensors say, and gives portions: by timer while there is light, for a press, for a cap.
 * It knows no clock, only how long it has been running.
 */
export type Cause = "timer" | "press" | "deposit" | "keeper";

export interface FeederParts {
  readonly agenda: Agenda;
  readonly place: Place;
  readonly weather: Weather;
  readonly sensors: WorldSensors;
  readonly dispenser: Dispenser;
  readonly chute: Chute;
  readonly currentSensor: CurrentSensor;
  readonly supply: Supply;
  readonly spool: Spool;
  readonly ledger: Ledger;
  readonly fault: PlantedFault;
}

export class Program {
  isOn = true;
  /** When food last came out, which birds see. */
  fedAt = Number.NEGATIVE_INFINITY;
  /** Running totals since this boot. The chute keeps its own. */
  readonly totals = { button: 0, detector: 0, perch: 0 };
  /** Called after each restart. */
  onStart: () => void = () => {};
  private readonly random: Random;
  private readonly parts: FeederParts;
  private readonly restSpan: number; // between paid portions
  private readonly reactionSpan: number;
  private readonly timerSpan: number | null; // null: no timer
  private readonly timerSunDegrees: number;
  private readonly paysFor: boolean;
  private readonly statesMotorTime: boolean;
  private readonly stampsStart: boolean; // of a run, in `uptimeMs`; else its end
  private readonly slotHasBeam: boolean;
  private restsUntil = 0;
  private start = 0; // counts the restarts, so that what an earlier one planned doesn't happen

  constructor(random: Random, parts: FeederParts) {
    this.random = random;
    this.parts = parts;
    this.restSpan = random.logBetween(3 * second, 20 * second);
    this.reactionSpan = random.between(50, 400);
    const { button, detector } = parts.sensors;
    const hasTimer = (!button && !detector) || random.chance(0.6);
    const timerSpan = random.logBetween(20 * minute, 4 * hour);
    this.timerSpan = hasTimer ? timerSpan : null;
    this.timerSunDegrees = random.between(-6, -2); // a light sensor's threshold; in polar night the sun reaches -1.4
    this.paysFor = random.chance(0.85);
    this.statesMotorTime = random.chance(0.9);
    this.stampsStart = random.chance(0.5);
    this.slotHasBeam = random.chance(0.5);
    this.planTimer();
  }

  get givesByTimer(): boolean {
    return this.timerSpan !== null;
  }

  /** The button's contact closes. */
  press(): void {
    if (!this.isOn || !this.parts.sensors.button) return;
    this.totals.button += 1;
    const seq = this.parts.spool.record("press", this.now);
    this.pay("press", seq);
  }

  /** Something falls into the slot. @param found whether the metal detector answers */
  deposit(found: boolean, signal: number): void {
    if (!this.isOn || !this.parts.sensors.detector) return;
    if (!found && !this.slotHasBeam) return;
    const beam = this.slotHasBeam ? { chute: true } : {};
    const strength = Math.round(100 * signal) / 100;
    const seq = this.parts.spool.record("deposit", this.now, { metal: found, signal: strength, ...beam });
    if (!found) return;
    this.totals.detector += 1;
    if (this.parts.fault.active !== "paysNoMore") this.pay("deposit", seq);
  }

  /** The perch moves. */
  land(): void {
    if (!this.isOn || !this.parts.sensors.perch) return;
    this.totals.perch += 1;
    this.parts.spool.record("visit", this.now);
  }

  /** By the keeper's button inside. */
  giveByHand(): void {
    if (this.isOn && this.now >= this.restsUntil) this.turn("keeper", null);
  }

  /** Power fails, or the watchdog fires. */
  restart(offSpan: number): void {
    const { agenda, spool, chute } = this.parts;
    this.isOn = false;
    this.start += 1;
    const { start } = this;
    agenda.in(offSpan, () => {
      if (start !== this.start) return;
      this.isOn = true;
      spool.restart(agenda.now);
      [this.totals.button, this.totals.detector, this.totals.perch, chute.total] = [0, 0, 0, 0];
      this.restsUntil = 0;
      this.planTimer();
      this.onStart();
    });
  }

  /** Planned only as long as the feeder isn't started again in between. */
  later(span: number, act: () => void): void {
    const { start } = this;
    this.parts.agenda.in(span, () => {
      if (start === this.start) act();
    });
  }

  private get now(): number {
    return this.parts.agenda.now;
  }

  private planTimer(): void {
    const { timerSpan, parts } = this;
    if (timerSpan === null) return;
    this.later(timerSpan, () => {
      if (sunAltitude(this.now, parts.place) > this.timerSunDegrees && this.now >= this.restsUntil)
        this.turn("timer", null);
      this.planTimer();
    });
  }

  private pay(cause: "press" | "deposit", seq: number): void {
    if (this.now < this.restsUntil) return;
    this.restsUntil = this.now + this.restSpan;
    this.later(this.reactionSpan, () => this.turn(cause, this.paysFor ? seq : null));
  }

  private turn(cause: Cause, paysFor: number | null): void {
    const { parts, random, now } = this;
    const sky = parts.weather.at(now);
    const owed = paysFor === null ? { cause } : { cause, paysFor };
    if (parts.supply.failsAtStart(sky.air)) {
      // The wheel stops between two pockets: one time in two the food has fallen.
      parts.ledger.run(now, random.chance(0.5) ? parts.dispenser.run(sky).drop : { grams: 0, pieces: [], torque: 1 });
      if (parts.sensors.portionEvents) parts.spool.record("portion", now, { ...owed, motorMs: null, cutShort: true });
      this.restart(parts.supply.offAfterFailure(sky.air));
      return;
    }
    const run = parts.dispenser.run(sky);
    parts.ledger.run(now, run.drop);
    if (run.drop.pieces.length > 0) this.fedAt = now;
    const { milliseconds } = run.motor;
    const count = parts.chute.countPortion(run.drop.pieces, milliseconds / 1_000, sky, now);
    this.restsUntil = Math.max(this.restsUntil, now + milliseconds + 200);
    if (!parts.sensors.portionEvents) return;
    const fields = { ...owed, ...this.measurements(run, count, sky.air) };
    this.later(milliseconds, () => parts.spool.record("portion", this.stampsStart ? now : this.now, fields));
  }

  private measurements({ motor }: Run, chuteCount: number, air: number): object {
    const { sensors, currentSensor, supply } = this.parts;
    const lowestVolts = supply.lowestVolts(motor.peakMilliamps, air);
    return {
      ...(this.statesMotorTime && { motorMs: Math.round(motor.milliseconds) }),
      ...(sensors.motorCurrent && currentSensor.measure(motor, air)),
      ...(sensors.chute && { chuteCount }),
      ...(lowestVolts !== null && { lowestVolts }),
    };
  }
}
