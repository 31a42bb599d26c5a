import type { WorldSensors } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Beam } from "./beam.ts";
import type { BirdSensors } from "./birdSensors.ts";
import type { Computer } from "./computer.ts";
import type { Dispenser } from "./dispenser.ts";
import type { Motor, MotorRun, Resistance } from "./motor.ts";
import type { PlantedFault } from "./planted.ts";
import type { FeedingProgram, Order, Outcome } from "./program.ts";
import type { Random } from "./random.ts";
import type { TruthBook } from "./truth.ts";
import type { Weather } from "./weather.ts";

/** What the feeder is made of. */
export interface FeederParts {
  readonly agenda: Agenda;
  readonly sensors: WorldSensors;
  readonly fault: PlantedFault;
  readonly weather: Weather;
  readonly dispenser: Dispenser;
  readonly motor: Motor;
  readonly beam: Beam;
  readonly birdSensors: BirdSensors;
  readonly computer: Computer;
  readonly program: FeedingProgram;
  readonly truth: TruthBook;
  failPower(at: number): void;
}

/** `ignored`: the button answered and no portion was due; `empty`: the motor ran and nothing fell. */
export type PeckOutcome = "notFelt" | "ignored" | "empty" | "fed";

/** The feeder at work: birds' acts become events and portions, and portions become food. */
export class Feeder {
  readonly #parts: FeederParts;
  readonly #random: Random;
  readonly #habits: ReportHabits;
  #underWay: UnderWay | null = null;

  constructor(random: Random, parts: FeederParts) {
    this.#parts = parts;
    this.#random = random;
    this.#habits = drawHabits(random);
  }

  land(at: number): void {
    const { computer, birdSensors, sensors } = this.#parts;
    if (!sensors.perch || !birdSensors.land(at) || !computer.isOn) return;
    computer.tally("perch", 1);
    computer.record(at, { kind: "visit" });
  }

  peck(at: number): PeckOutcome {
    const { agenda, birdSensors } = this.#parts;
    const { isFelt, bouncesAfter } = birdSensors.peck(at);
    if (!isFelt) return "notFelt";
    const outcome = this.contact(at);
    if (bouncesAfter !== null) agenda.add(at + bouncesAfter, (now) => this.contact(now));
    return outcome;
  }

  /** The button's contact closes, for whatever reason. */
  contact(at: number): PeckOutcome {
    const { computer, program } = this.#parts;
    if (!computer.isOn) return "ignored";
    computer.tally("button", 1);
    const seq = computer.record(at, { kind: "press" });
    const outcome = program.press(at, seq);
    if (outcome === null) return "ignored";
    return outcome.pieces > 0 ? "fed" : "empty";
  }

  drop(at: number, isMetal: boolean): void {
    const { computer, birdSensors, program, fault } = this.#parts;
    const deposit = birdSensors.drop(at, isMetal);
    if (deposit === null || !computer.isOn) return;
    if (deposit.metal) computer.tally("detector", 1);
    const seq = computer.record(at, { kind: "deposit", ...deposit });
    if (deposit.metal && !fault.is("paysNoMore", at)) program.deposit(at, seq);
  }

  /** Turns the screw. */
  run(at: number, order: Order): Outcome {
    const { agenda, dispenser, fault, weather, motor, beam, truth, computer, failPower } = this.#parts;
    if (!computer.isOn) return { milliseconds: 0, pieces: 0 };
    const brownOut = this.#random.chance(computer.traits.brownOuts) && !fault.is("motorWireOff", at);
    if (fault.is("foodBridged", at)) dispenser.bridge(fault.traits.throatPortions * dispenser.nominalGrams);
    const isStill = fault.is("motorStalled", at) || fault.is("motorWireOff", at);
    const fall = isStill || brownOut ? nothing : dispenser.turn(at, fault.shareThatFalls(at));
    const load = fall.pieces / dispenser.food.piecesPerPortion;
    const turned = motor.run(at, weather.celsiusAt(at), this.#resistance(at, load));
    const counted = beam.count(at, fall.pieces, weather.at(at), fault.sightLeft(at));
    beam.soil(fall.grams);
    computer.tally("chute", counted);
    truth.addRun(at, fall);
    const underWay = { order, at, turned, counted };
    this.#underWay = underWay;
    // A brown-out comes with the start-up current: the screw hardly turns.
    if (brownOut) agenda.add(at + 15, failPower);
    agenda.add(at + turned.milliseconds, (now) => this.#endRun(now, underWay));
    return { milliseconds: turned.milliseconds, pieces: fall.pieces };
  }

  /** The power fails: a portion under way ends, and is told where the feeder keeps what happens on a card. */
  losePower(at: number): number {
    const { computer, sensors } = this.#parts;
    const cut = this.#underWay;
    this.#underWay = null;
    if (cut !== null && computer.traits.keepsSpool && sensors.portionEvents) {
      computer.record(cut.at, { kind: "portion", ...this.#paid(cut.order), motorMs: null, cutShort: true });
    }
    return computer.losePower(at);
  }

  start(at: number): void {
    this.#parts.computer.start(at);
    this.#parts.program.restart(at);
  }

  #resistance(at: number, load: number): Resistance {
    const { fault } = this.#parts;
    if (fault.is("motorWireOff", at)) return { kind: "wireOff" };
    if (fault.is("motorStalled", at)) return { kind: "stalled" };
    if (fault.is("trayJammed", at)) return { kind: "turns", load: 1, extra: fault.traits.jamLoad };
    if (fault.is("trayPartlyJammed", at)) return { kind: "turns", load: 1, extra: fault.traits.partlyLoad };
    return { kind: "turns", load, extra: 1 };
  }

  #endRun(at: number, ended: UnderWay): void {
    if (this.#underWay !== ended) return;
    this.#underWay = null;
    const { computer, sensors } = this.#parts;
    if (!sensors.portionEvents) return;
    const { reportsRunTime, reportsVolts, stampsStart } = this.#habits;
    const { turned, counted, order } = ended;
    computer.record(stampsStart ? ended.at : at, {
      kind: "portion",
      ...this.#paid(order),
      ...(reportsRunTime && { motorMs: turned.milliseconds }),
      ...(sensors.motorCurrent && {
        meanMilliamps: turned.meanMilliamps,
        peakMilliamps: turned.peakMilliamps,
      }),
      ...(sensors.chute && { chuteCount: counted }),
      ...(reportsVolts && { lowestVolts: turned.lowestVolts }),
    });
  }

  #paid({ cause, paysFor }: Order): { cause: string; paysFor?: number } {
    return { cause, ...(this.#habits.namesPaid && paysFor !== null && { paysFor }) };
  }
}

const nothing = { pieces: 0, grams: 0, wantsFood: false };

interface UnderWay {
  readonly order: Order;
  readonly at: number;
  readonly turned: MotorRun;
  readonly counted: number;
}

interface ReportHabits {
  readonly stampsStart: boolean; // of the run; otherwise its end
  readonly namesPaid: boolean;
  readonly reportsRunTime: boolean;
  readonly reportsVolts: boolean;
}

const drawHabits = (random: Random): ReportHabits => ({
  stampsStart: random.chance(0.5),
  namesPaid: random.chance(0.8),
  reportsRunTime: random.chance(0.9),
  reportsVolts: random.chance(0.2),
});
