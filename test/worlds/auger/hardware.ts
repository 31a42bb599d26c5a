import type { WorldSensors } from "../world.ts";
import { Beam } from "./beam.ts";
import { BirdSensors } from "./birdSensors.ts";
import { Computer } from "./computer.ts";
import { Dispenser } from "./dispenser.ts";
import { drawFood } from "./food.ts";
import { LidLoads } from "./lidLoads.ts";
import { Line } from "./line.ts";
import { Motor } from "./motor.ts";
import { clamp } from "./numbers.ts";
import type { PlantedFault } from "./planted.ts";
import type { Random } from "./random.ts";
import { Scale } from "./scale.ts";
import type { Weather } from "./weather.ts";

interface Surroundings {
  readonly begin: number;
  readonly sensors: WorldSensors;
  readonly fault: PlantedFault;
  readonly weather: Weather;
  readonly portionsPerDay: number;
}

export type Hardware = ReturnType<typeof drawHardware>;

/** One home-built feeder. Its hopper is as large as its keeper found practical for these birds. */
export function drawHardware(random: (name: string) => Random, surroundings: Surroundings) {
  const { begin, sensors, fault, weather, portionsPerDay } = surroundings;
  const food = drawFood(random("food"));
  const daysOfFood = random("capacity").logBetween(5, 25); // common practice, no source
  const dailyGrams = Math.max(1, portionsPerDay) * food.pieceGrams * food.piecesPerPortion;
  const capacity = clamp(daysOfFood * dailyGrams, 250, 8_000);
  const dispenser = new Dispenser(random("dispenser"), food, capacity);
  return {
    sensors,
    fault,
    weather,
    dispenser,
    motor: new Motor(random("motor"), begin),
    beam: new Beam(random("beam"), capacity),
    lid: new LidLoads(random("lid")),
    scale: new Scale(random("scale"), begin, weather.celsiusAt(begin), dispenser.content),
    line: new Line(random("line"), begin),
    computer: new Computer(random("computer"), begin),
    birdSensors: new BirdSensors(random("birdSensors"), fault, sensors.chute),
  };
}
