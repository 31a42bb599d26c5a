import type { PlantedFault } from "./fault.ts";
import type { Motor, MotorRun, MotorState } from "./motor.ts";
import type { Sky } from "./weather.ts";
import type { Drop, Wheel } from "./wheel.ts";

/** Motor and wheel together: one run, with what falls. */
export interface Run {
  readonly drop: Drop;
  readonly motor: MotorRun;
}

export class Dispenser {
  private readonly wheel: Wheel;
  private readonly motor: Motor;
  private readonly fault: PlantedFault;

  constructor(wheel: Wheel, motor: Motor, fault: PlantedFault) {
    this.wheel = wheel;
    this.motor = motor;
    this.fault = fault;
  }

  run(sky: Sky): Run {
    const state = this.motorState();
    const drop = state === "turning" ? this.wheel.turn(sky) : nothing;
    return { drop, motor: this.motor.run(state, drop.torque, sky.air) };
  }

  private motorState(): MotorState {
    const { active } = this.fault;
    if (active === "motorWireOff") return "wire off";
    if (active === "motorStalled") return "stalled";
    return active === "trayJammed" ? "against jam" : "turning";
  }
}

const nothing: Drop = { grams: 0, pieces: [], torque: 1 };
