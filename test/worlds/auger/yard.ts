import { readReport } from "../../../server/contract/readReport.ts";
import { instant } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, WorldMoment } from "../world.ts";
import { Agenda } from "./agenda.ts";
import { type FeederForBirds, Flock } from "./birds.ts";
import { chatter } from "./chatter.ts";
import { Feeder } from "./feeder.ts";
import { drawHardware, type Hardware } from "./hardware.ts";
import { Keeper } from "./keeper.ts";
import { PlantedFault } from "./planted.ts";
import { FeedingProgram } from "./program.ts";
import { Random } from "./random.ts";
import { Readings } from "./readings.ts";
import { Reporter } from "./reporter.ts";
import { daylightOf } from "./sun.ts";
import { day, dayBegin, hour } from "./time.ts";
import { TruthBook } from "./truth.ts";
import { Weather } from "./weather.ts";

/** One feeder in its yard, with its birds and its keeper: everything is drawn from the story's seed and set going. */
export class Yard {
  readonly truth: TruthBook;
  readonly hardware: Hardware;
  readonly #random: (name: string) => Random;
  readonly #story: Story;
  readonly #begin: number;
  readonly #agenda: Agenda;
  readonly #program: FeedingProgram;
  readonly #flock: Flock;
  readonly #feeder: Feeder;
  readonly #reporter: Reporter;
  readonly #keeper: Keeper;
  #told: WorldMoment[] = [];
  #piecesAtDawn = -1;

  constructor(story: Story, phone: KeeperPhone) {
    const random = (name: string) => Random.named(story.seed, name);
    const { sensors } = story;
    const begin = drawBegin(random("begin"));
    const agenda = new Agenda(begin);
    const fault = new PlantedFault(story, begin);
    const weather = new Weather(random("weather"), begin);
    const isPaid = sensors.button || sensors.detector;
    const program = new FeedingProgram(random("program"), agenda, isPaid, (at, order) => this.#feeder.run(at, order));
    this.#flock = new Flock(random("birds"), agenda, this.#forBirds(story));
    const portionsPerDay = this.#flock.portionsPerDay + program.timersPerDay;
    this.hardware = drawHardware(random, { begin, sensors, fault, weather, portionsPerDay });
    this.truth = new TruthBook(this.hardware.dispenser, fault);
    this.#feeder = new Feeder(random("feeder"), {
      ...{ ...this.hardware, agenda, program, truth: this.truth },
      failPower: (at) => this.#losePower(at),
    });
    this.#reporter = new Reporter(random("reporter"), {
      ...{ ...this.hardware, agenda, everySeconds: story.reportEverySeconds },
      readings: new Readings(random("readings"), begin, this.hardware),
      deliver: (at, posted) => this.#deliver(at, posted),
    });
    this.#keeper = new Keeper(random("keeper"), {
      ...{ agenda, story, phone, fault, dispenser: this.hardware.dispenser },
      say: (at, act) => this.#tell({ kind: "keeper", feeder: feederId, at: instant(at), act }),
      filled: (at, grams) => this.#fill(at, grams),
    });
    [this.#random, this.#story, this.#begin, this.#agenda, this.#program] = [random, story, begin, agenda, program];
  }

  *moments(): Generator<WorldMoment> {
    this.#start();
    const end = this.#begin + this.#story.days * day;
    for (let next = this.#agenda.take(); next !== null && next.at <= end; next = this.#agenda.take()) {
      next.happen(next.at);
      if (this.#told.length === 0) continue;
      const told = this.#told;
      this.#told = [];
      yield* told;
    }
  }

  #start(): void {
    const begin = this.#begin;
    const { fault, sensors } = this.hardware;
    this.#agenda.add(begin, (at) => {
      const settings = this.#keeper.settings();
      this.#tell({ kind: "settings", feeder: feederId, at: instant(at), settings });
      this.#keeper.begin(at);
      this.#reporter.start(at);
      this.#planDay(at);
      this.#passHour(at);
    });
    this.#planPowerLoss(begin);
    if (fault.kind === "buttonChatters" && sensors.button) {
      chatter(this.#random("chatter"), this.#agenda, this.#feeder, fault);
    }
  }

  #planDay(at: number): void {
    const daylight = daylightOf(at);
    const foundFood = this.truth.pieces > this.#piecesAtDawn;
    this.#piecesAtDawn = this.truth.pieces;
    this.#flock.planDay(daylight, this.hardware.weather.at(dayBegin(at) + 8 * hour), foundFood);
    this.#program.planDay(daylight);
    this.#keeper.planDay(at);
    this.#agenda.add(dayBegin(at) + day, (next) => this.#planDay(next));
  }

  #passHour(at: number): void {
    const { weather, dispenser, lid } = this.hardware;
    const now = weather.at(at);
    dispenser.breathe(now.humidityPercent);
    lid.passHour(now);
    this.#agenda.add(Math.floor(at / hour) * hour + hour, (next) => this.#passHour(next));
  }

  #planPowerLoss(after: number): void {
    this.#agenda.add(Math.round(this.hardware.computer.nextPowerLoss(after)), (at) => {
      this.#losePower(at);
      this.#planPowerLoss(at);
    });
  }

  #losePower(at: number): void {
    if (!this.hardware.computer.isOn) return;
    this.#agenda.add(Math.round(this.#feeder.losePower(at)), (back) => {
      this.#feeder.start(back);
      this.#reporter.start(back);
    });
  }

  #fill(at: number, grams: number): void {
    const { dispenser, lid, beam } = this.hardware;
    dispenser.fill(grams);
    lid.handle(at);
    beam.clean();
    this.truth.addFood(grams);
  }

  /** @throws Error where the world's own report can't be read whole: a bug of this world */
  #deliver(at: number, posted: object): void {
    const read = readReport(posted);
    if (read.kind === "unreadable" || read.report.refused.length > 0 || read.report.unknownNames.length > 0) {
      throw new Error(`expected a report without problems, got ${JSON.stringify(posted).slice(0, 500)}`);
    }
    this.#tell({ kind: "report", feeder: feederId, at: instant(at), report: read.report });
  }

  #tell(line: LogLine): void {
    this.#told.push({ line, truth: this.truth.at(line.at) });
  }

  #forBirds({ sensors }: Story): FeederForBirds {
    return {
      hasButton: sensors.button,
      hasSlot: sensors.detector,
      come: () => this.truth.addComing(),
      land: (at) => this.#feeder.land(at),
      peck: (at) => this.#feeder.peck(at),
      drop: (at, isMetal) => this.#feeder.drop(at, isMetal),
      sitOnLid: (at, until, grams) => this.hardware.lid.landBird(at, until, grams),
    };
  }
}

const feederId = "larch";

/** Any hour of any day of four years. */
const drawBegin = (random: Random): number => Date.UTC(2022, 0, 1) + random.whole(0, 4 * 365 * 24 * 60) * 60_000;
