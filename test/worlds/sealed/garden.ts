import type { LoggedAct } from "../../../server/contract/feederLog.ts";
import { readReport } from "../../../server/contract/readReport.ts";
import { instant } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, WorldMoment } from "../world.ts";
import { Agenda } from "./agenda.ts";
import { drawAnimals, drawFlock, expectedActs, Flock, type FlockPart, planAnimals, type Stage } from "./birds.ts";
import { Books } from "./books.ts";
import { Computer, drawComputer } from "./computer.ts";
import { Fault } from "./fault.ts";
import { drawHopper, type Hopper } from "./food.ts";
import { Instruments } from "./instruments.ts";
import { drawKeeper, type Hands, Keeper } from "./keeper.ts";
import { drawLine, Line } from "./line.ts";
import { drawMachine, Machine, type Turned } from "./machine.ts";
import { drawProgram, expectedPortions, Program } from "./program.ts";
import { Random } from "./random.ts";
import { Reporter } from "./reporter.ts";
import { enteredSettings } from "./settings.ts";
import { dayMs, hourMs, isDaylight, lightSpan, minuteMs, type Place, places, solarMidnight } from "./sky.ts";
import { drawDetector, drawPerch, seenInSlot } from "./smallSensors.ts";
import { drawBegin, Weather, weatherStepMs } from "./weather.ts";

/** One feeder in one garden, with all that comes to it: it puts the parts together and lets time pass. */
export class Garden {
  readonly begin: number;
  readonly agenda: Agenda;
  readonly hopper: Hopper;
  readonly books: Books;
  readonly machine: Machine;
  readonly weather: Weather;
  readonly program: Program;
  readonly computer: Computer;
  /** What has reached the log since it was last taken out. */
  readonly moments: WorldMoment[] = [];
  readonly #story: Story;
  readonly #random: Random;
  readonly #place: Place;
  readonly #fault: Fault;
  readonly #line: Line;
  readonly #instruments: Instruments;
  readonly #reporter: Reporter;
  readonly #flock: Flock;
  readonly #keeper: Keeper;
  readonly #around: ReturnType<typeof drawSurroundings>;
  #foodFellAt = 0;
  #birdGrams = 0;
  #hasHand = false;
  #orders = 0;

  constructor(story: Story, phone: KeeperPhone) {
    const random = new Random(story.seed, "sealed");
    this.#story = story;
    this.#random = random.branch("garden");
    this.#place = this.#random.pick(places);
    this.begin = drawBegin(this.#random);
    this.agenda = new Agenda(this.begin);
    this.#fault = new Fault(story, this.begin);
    this.weather = new Weather(this.#place, random.branch("weather"), this.begin);
    this.computer = new Computer(drawComputer(random.branch("computerPart")), story.sensors, random.branch("computer"));
    this.#line = new Line(drawLine(random.branch("linePart")), random.branch("line"), this.begin);
    const flock = drawFlock(story.sensors, random.branch("flockPart"));
    const programPart = drawProgram(story.sensors, expectedActs(flock), random.branch("programPart"));
    const { food, build } = drawMachine(random);
    const dailyGrams = expectedPortions(programPart, expectedActs(flock)) * build.portionGrams;
    this.hopper = drawHopper(dailyGrams, random.branch("hopper"));
    this.books = new Books(this.hopper, this.#fault, this.#place, build.portionGrams);
    this.machine = new Machine(this.#shared(random), food, build);
    this.#instruments = this.#newInstruments(random);
    this.program = this.#newProgram(programPart, random);
    this.#reporter = this.#newReporter(random);
    this.#around = drawSurroundings(this.#random);
    this.#flock = this.#newFlock(flock, random);
    this.#keeper = this.#newKeeper(phone, random);
    this.#start();
  }

  #newFlock(part: FlockPart, random: Random): Flock {
    const sitShare = this.#story.sensors.scale ? this.#instruments.cell.part.birdShare : 0;
    return new Flock(part, sitShare, { agenda: this.agenda, random: random.branch("flock"), stage: this.#stage() });
  }

  #shared(random: Random) {
    const { hopper, weather, computer, begin } = this;
    return { sensors: this.#story.sensors, hopper, weather, computer, begin, fault: this.#fault, random };
  }

  #newInstruments(random: Random): Instruments {
    return new Instruments({
      ...this.#shared(random),
      supply: this.machine.supply,
      borne: () => ({
        foodGrams: this.hopper.onScale,
        birdGrams: this.#birdGrams,
        isOff: this.hopper.isOff,
        hasHand: this.#hasHand,
      }),
    });
  }

  #newProgram(part: ReturnType<typeof drawProgram>, random: Random): Program {
    return new Program({
      ...this.#shared(random.branch("program")),
      part,
      agenda: this.agenda,
      isDaylight: () => isDaylight(this.#place, this.agenda.now),
      turn: () => this.machine.turn(this.agenda.now),
      run: (turns) => this.books.recordRun(this.agenda.now, sumOfFalls(turns)),
      fell: (turns) => this.#fell(turns),
    });
  }

  #newReporter(random: Random): Reporter {
    return new Reporter({
      agenda: this.agenda,
      computer: this.computer,
      line: this.#line,
      random: random.branch("reporter"),
      everyMs: this.#story.reportEverySeconds * 1_000,
      readings: () => this.#instruments.readings(this.agenda.now),
      arrive: (body) => this.#arrive(body),
    });
  }

  #newKeeper(phone: KeeperPhone, random: Random): Keeper {
    return new Keeper({
      part: drawKeeper(this.hopper.capacity, random.branch("keeperPart")),
      story: this.#story,
      phone,
      agenda: this.agenda,
      random: random.branch("keeper"),
      place: this.#place,
      hopper: this.hopper,
      fault: this.#fault,
      hands: this.#hands(),
    });
  }

  #start(): void {
    const { machine, hopper, begin } = this;
    const random = this.#random.branch("settings");
    const grams = this.#keeper.fill();
    const at = { place: this.#place, capacity: hopper.capacity, at: begin };
    const settings = enteredSettings(this.#story, { ...at, machine, random });
    this.#log({ kind: "settings", settings });
    this.#keeper.begin(grams);
    this.computer.start(this.agenda.now);
    this.#reporter.begin();
    this.#planStop();
    this.agenda.at(this.begin + weatherStepMs, () => this.#passTime());
    this.#planDay(solarMidnight(this.#place, this.begin));
    if (this.#fault.begin !== null) this.agenda.at(this.#fault.begin, () => this.#breakDown());
  }

  #passTime(): void {
    const days = weatherStepMs / dayMs;
    const random = this.#random;
    this.weather.step(this.agenda.now);
    this.machine.supply.age(days);
    if (random.chance(this.machine.chute.strayPerDay * days) && !this.#isBlind()) this.computer.count("chute");
    if (random.chance(this.#around.perch.strayPerDay * days)) this.#hop();
    if (random.chance(this.#around.detector.strayPerDay * days)) this.#dropStray();
    this.agenda.in(weatherStepMs, () => this.#passTime());
  }

  #isBlind(): boolean {
    return this.#fault.chuteSight(this.agenda.now) === 0;
  }

  /** From one midnight by the sun to the next. */
  #planDay(midnight: number): void {
    const light = lightSpan(this.#place, midnight);
    this.agenda.at(Math.max(midnight, this.begin), () => {
      this.#flock.planDay(light);
      planAnimals(this.#around.animals, light, { agenda: this.agenda, random: this.#random, stage: this.#stage() });
      this.#keeper.planDay(midnight);
      this.#planFreeFood(light.from, light.to);
      this.#planDay(midnight + dayMs);
    });
  }

  /** Some begin with the light, and some keep to hours of the clock within it. */
  #planFreeFood(from: number, to: number): void {
    const margin = this.#around.hasOwnLight ? 0 : Math.min(hourMs, (to - from) / 6);
    for (let count = 0; count < this.program.part.freePerDay; count += 1) {
      const at = this.#random.uniform(from + margin, to - margin);
      this.agenda.plan(at, () => {
        this.program.freeFood();
        this.#flock.seeFood();
      });
    }
  }

  #planStop(): void {
    const stop = this.computer.drawStop();
    if (!Number.isFinite(stop.in)) return;
    this.agenda.in(stop.in, () => {
      this.computer.stop();
      this.program.stop();
      this.agenda.in(stop.offMs, () => {
        this.computer.start(this.agenda.now, stop.offMs);
        this.#reporter.begin();
        this.#planStop();
      });
    });
  }

  /** What of a fault needs more than that others ask for it. */
  #breakDown(): void {
    const { kind } = this.#fault;
    if (kind === "foodBridged") {
      const below = this.machine.dispenser.build.portionGrams * this.#random.uniform(0, 12);
      this.hopper.belowBridge = Math.min(below, this.hopper.usable);
    }
    if (kind === "buttonChatters") this.#chatter();
  }

  #chatter(): void {
    const random = this.#random;
    let span = 0;
    for (let count = random.integer(4, 35); count > 0; count -= 1) {
      span += random.logUniform(60, 2_500);
      this.agenda.in(span, () => this.program.press());
    }
    this.agenda.in(span + random.exponential(random.pick([10, 40, 120]) * minuteMs), () => this.#chatter());
  }

  #stage(): Stage {
    return {
      comes: () => {
        this.books.bouts += 1;
      },
      hop: () => this.#hop(),
      sit: (grams) => {
        this.#birdGrams = Math.max(0, this.#birdGrams + grams);
      },
      press: () => {
        if (!this.#fault.is("buttonDead", this.agenda.now)) this.program.press();
      },
      drop: (isCap) => this.#drop(isCap),
      foodFellAt: () => this.#foodFellAt,
      isWindyOrWet: () => this.weather.windSpeed > 9 || this.weather.rainRate > 3,
    };
  }

  #hop(): void {
    const { sensors } = this.#story;
    const isSeen = this.computer.isOn && sensors.perch && this.#random.chance(this.#around.perch.sees);
    if (!isSeen || this.#fault.is("perchDead", this.agenda.now)) return;
    this.computer.count("perch");
    this.computer.record(this.agenda.now, { kind: "visit" });
  }

  #drop(isCap: boolean): void {
    const isDeaf = this.#fault.is("detectorDeaf", this.agenda.now);
    const around = { celsius: this.weather.boxCelsius, isDeaf };
    this.program.deposit(seenInSlot(isCap, this.#around.detector, around, this.#random), this.#around.detector);
  }

  /** The coil hears a radio or a spark. */
  #dropStray(): void {
    if (this.#fault.is("detectorDeaf", this.agenda.now)) return;
    const signal = Math.round(this.#random.uniform(0.1, 0.3) * 1_000) / 1_000;
    this.program.deposit({ metal: true, beam: false, signal }, this.#around.detector);
  }

  #fell(turns: readonly Turned[]): void {
    if (sumOfFalls(turns).grams > 0) this.#foodFellAt = this.agenda.now;
  }

  #hands(): Hands {
    return {
      tell: (act) => this.#log({ kind: "keeper", act }),
      pour: (grams) => this.#pour(grams),
      open: (span, liftsOff, done) => this.#open(span, liftsOff, done),
      wipe: () => this.machine.clean(this.agenda.now),
      pressRefilled: () => {
        if (this.computer.isOn) this.computer.record(this.agenda.now, { kind: "refill", full: true });
      },
      order: (kind) => this.#order(kind),
    };
  }

  #pour(grams: number): void {
    this.hopper.pour(grams);
    this.machine.refill();
    this.books.recordRefill();
  }

  #open(span: number, liftsOff: boolean, done: () => void): void {
    this.#flock.scare(span + this.#random.uniform(0.1, 1.5) * hourMs);
    this.#lid(true);
    this.hopper.isOff = liftsOff;
    this.#hasHand = !liftsOff;
    this.weather.clearSnow();
    this.#birdGrams = 0;
    this.agenda.in(span, () => {
      this.hopper.isOff = false;
      this.#hasHand = false;
      this.#instruments.cell.disturb();
      done();
      this.#lid(false);
    });
  }

  #lid(open: boolean): void {
    if (this.#around.hasLidSwitch && this.computer.isOn) this.computer.record(this.agenda.now, { kind: "lid", open });
  }

  #order(kind: "pause" | "resume"): void {
    this.#orders += 1;
    const id = `order-${this.#story.seed}-${this.#orders}`;
    const act: LoggedAct =
      kind === "pause" ? { by: "keeper", pause: { id, until: null } } : { by: "keeper", resume: { id } };
    this.#log({ kind: "keeper", act });
    this.#reporter.waitingOrder = { id, kind };
  }

  #arrive(body: object): void {
    const read = readReport(body);
    if (read.kind === "unreadable") throw new Error(`expected a report, got ${JSON.stringify(read.errors)}`);
    this.#log({ kind: "report", report: read.report });
  }

  #log(what: WithoutPlace<LogLine>): void {
    const at = instant(Math.floor(this.agenda.now));
    this.moments.push({ line: { feeder: "sealed", at, ...what }, truth: this.books.truth(at) });
  }
}

/** What else is at the feeder. Ranges: common practice, no source. */
const drawSurroundings = (random: Random) => ({
  detector: drawDetector(random),
  perch: drawPerch(random),
  animals: drawAnimals(random),
  hasLidSwitch: random.chance(0.2),
  hasOwnLight: random.chance(0.5), // its program knows sunrise and sunset
});

type WithoutPlace<Line> = Line extends unknown ? Omit<Line, "feeder" | "at"> : never;

const sumOfFalls = (turns: readonly Turned[]) =>
  turns.reduce((sum, { fall }) => ({ grams: sum.grams + fall.grams, pieces: sum.pieces + fall.pieces }), {
    grams: 0,
    pieces: 0,
  });
