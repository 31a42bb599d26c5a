import type { WorldSensors } from "../world.ts";
import type { Birds } from "./birds.ts";
import type { Board } from "./board.ts";
import type { Hopper } from "./hopper.ts";
import type { Keeper } from "./keeper.ts";
import type { Link } from "./link.ts";
import type { Power } from "./power.ts";
import type { Random } from "./random.ts";
import type { Scale } from "./scale.ts";
import type { Thermometers, Warmth } from "./warmth.ts";
import type { Sky } from "./weather.ts";
import type { Wires } from "./wires.ts";

export interface ReadingsParts {
  readonly sensors: WorldSensors;
  readonly board: Board;
  readonly scale: Scale;
  readonly hopper: Hopper;
  readonly birds: Birds;
  readonly keeper: Keeper;
  readonly thermometers: Thermometers;
  readonly warmth: Warmth;
  readonly power: Power;
  readonly wires: Wires;
  readonly link: Link;
  readonly sky: Sky;
}

/** What the board reads from its sensors for one report. A loose wire leaves a reading out. */
export function readingsSource(random: Random, parts: ReadingsParts): (at: number, isFirst: boolean) => object {
  const has = {
    humidity: random.chance(0.45),
    signal: random.chance(0.75),
    spooled: random.chance(0.7),
    counts: random.chance(0.85),
    paused: random.chance(0.6),
  };
  const humidityError = random.normal(0, 3);
  return (at, isFirst) => {
    const { board, sky } = parts;
    const readings: Record<string, unknown> = {};
    addScale(readings, parts, at);
    for (const name of parts.thermometers.fitted) {
      if (parts.wires.isLoose()) continue;
      const early = isFirst ? parts.thermometers.powerOnValue() : null;
      readings[name] = early ?? parts.thermometers.read(name, at, parts.warmth, sky);
    }
    if (has.humidity && !parts.wires.isLoose()) {
      const shown = sky.humidity + humidityError + random.normal(0, 0.3);
      readings.humidityPercent = Math.round(10 * Math.min(104, Math.max(1, shown))) / 10;
    }
    Object.assign(readings, parts.power.readings());
    if (has.signal) readings.signalDbm = parts.link.signalDbm();
    if (has.spooled) readings.spooled = board.waiting.events.length;
    const counts = has.counts ? board.counts(parts.sensors) : null;
    if (counts !== null) readings.counts = counts;
    if (has.paused) readings.paused = false;
    return readings;
  };
}

function addScale(readings: Record<string, unknown>, parts: ReadingsParts, at: number): void {
  const { scale, hopper, keeper, sky, warmth } = parts;
  if (!parts.sensors.scale || parts.wires.isLoose()) return;
  const birds = scale.carriesLid() ? parts.birds.gramsOnLid(at) : 0;
  const load = hopper.gramsOnScale() + hopper.waterGrams();
  const shown = scale.read(at, load, birds + keeper.handGrams(at), { sky, warmth, isOff: hopper.isOff });
  if (shown !== undefined) readings.hopperGrams = shown;
}
