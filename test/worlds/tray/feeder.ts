import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story } from "../world.ts";
import { Agenda } from "./agenda.ts";
import { Beam } from "./beam.ts";
import { Birds } from "./birds.ts";
import { Board } from "./board.ts";
import { Drive } from "./drive.ts";
import { drawMixture, type Mixture } from "./food.ts";
import { Hopper } from "./hopper.ts";
import { Keeper } from "./keeper.ts";
import { Ledger } from "./ledger.ts";
import { Link } from "./link.ts";
import { PlantedFault } from "./plantedFault.ts";
import { Power } from "./power.ts";
import { Program } from "./program.ts";
import { Random } from "./random.ts";
import { readingsSource } from "./readings.ts";
import { Reporter, type ReporterParts } from "./reporter.ts";
import { Scale } from "./scale.ts";
import { localDay, localMidnight, second } from "./time.ts";
import { Thermometers, Warmth } from "./warmth.ts";
import { Weather, weatherStep } from "./weather.ts";
import { Wires } from "./wires.ts";

/** One feeder with all that acts on it. Tests look into its parts; the log does not. */
export interface Feeder {
  readonly agenda: Agenda;
  readonly hopper: Hopper;
  readonly mixture: Mixture;
  readonly weather: Weather;
  readonly warmth: Warmth;
  readonly power: Power;
  readonly birds: Birds;
  readonly ledger: Ledger;
}

export function buildFeeder(story: Story, phone: KeeperPhone, begin: number, hear: (line: LogLine) => void): Feeder {
  const random = (name: string) => new Random(story.seed, name);
  const agenda = new Agenda();
  const fault = new PlantedFault(story.fault?.kind ?? null, begin + (story.fault?.at ?? 0));
  const weather = new Weather(random("weather"), begin);
  const { sky } = weather;
  const warmth = new Warmth(random("warmth"), sky.air);
  const power = new Power(random("power"));
  const wires = new Wires(random("wires"));
  const mixture = drawMixture(random("mixture"));
  const hopper = new Hopper(random("hopper"), mixture, fault);
  const beam = new Beam(random("beam"), fault);
  const scale = new Scale(random("scale"), fault);
  const drive = new Drive(random("drive"), fault, begin);
  const board = new Board(random("board"), begin);
  const ledger = new Ledger(hopper, fault);
  const { meanPiece } = mixture;
  const shaking = { agenda, board, drive, hopper, beam, power, warmth, wires, sky, ledger, fault, meanPiece };
  const program = new Program(random("program"), story, shaking);
  const { button, detector } = story.sensors;
  const acts = { actsDaily: program.actsADay(), presses: button, deposits: detector };
  const birds = new Birds(random("birds"), agenda, program, acts, sky);
  const cared = { agenda, phone, fault, hopper, beam, scale, drive, wires, birds, program, ledger, hear };
  const keeper = new Keeper(random("keeper"), story, cared, begin);
  const thermometers = new Thermometers(random("thermometers"), fault, power.chemistry !== "none");
  const link = new Link(random("link"), begin);
  const read = { board, scale, hopper, birds, keeper, thermometers, warmth, power, wires, link, sky };
  const readings = readingsSource(random("readings"), { sensors: story.sensors, ...read });
  const reports: ReporterParts = { agenda, board, link, every: story.reportEverySeconds * second, readings, hear };
  new Reporter(random("reporter"), reports, begin);
  const stepped = { weather, warmth, power, wires, hopper, beam, scale, drive, board };
  planSteps(agenda, begin, (at) => step(stepped, at));
  planDays(agenda, begin, (ofDay, from) => {
    birds.planDay(ofDay, from);
    program.planDay(ofDay, from);
  });
  return { agenda, hopper, mixture, weather, warmth, power, birds, ledger };
}

interface Stepped {
  readonly weather: Weather;
  readonly warmth: Warmth;
  readonly power: Power;
  readonly wires: Wires;
  readonly hopper: Hopper;
  readonly beam: Beam;
  readonly scale: Scale;
  readonly drive: Drive;
  readonly board: Board;
}

function step({ weather, warmth, power, wires, hopper, beam, scale, drive, board }: Stepped, at: number): void {
  weather.step(at);
  const { sky } = weather;
  warmth.step(sky);
  power.step(sky, warmth, 0.1 * sky.dust);
  wires.step(warmth.inside);
  hopper.step(sky, at);
  beam.step(sky, warmth, at);
  scale.step(sky, warmth);
  drive.shakeLoose(weatherStep);
  board.count("chute", beam.strayCounts(at, weatherStep, sky));
}

function planSteps(agenda: Agenda, at: number, run: (at: number) => void): void {
  agenda.add(at, (now) => {
    run(now);
    planSteps(agenda, at + weatherStep, run);
  });
}

function planDays(agenda: Agenda, from: number, run: (ofDay: number, from: number) => void): void {
  agenda.add(from, (at) => {
    const ofDay = localDay(at);
    run(ofDay, at);
    planDays(agenda, localMidnight(ofDay + 1), run);
  });
}
