import { type PostedReport, readReport } from "../../../server/contract/readReport.ts";
import { hour, minute, second } from "./agenda.ts";
import type { Post } from "./board.ts";
import type { Parts } from "./parts.ts";
import type { Person } from "./person.ts";
import type { Program } from "./program.ts";
import type { Stream } from "./stream.ts";

/** Reads the sensors at each interval and sends the reports; what arrives is handed to `arrived`. */
export class Reporter {
  readonly #parts: Parts;
  readonly #program: Program;
  readonly #person: Person;
  readonly #arrived: (report: PostedReport, now: number) => void;
  readonly #stream: Stream;
  readonly #interval: number;
  readonly #jitter: number;
  readonly #counts: boolean;
  readonly #saysSpooled: boolean;
  readonly #saysPaused: boolean;
  readonly #powerCutEvery: number;
  #last: number;

  constructor(parts: Parts, program: Program, person: Person, arrived: (report: PostedReport, now: number) => void) {
    this.#parts = parts;
    this.#program = program;
    this.#person = person;
    this.#arrived = arrived;
    this.#stream = parts.stream("reporter");
    this.#interval = parts.story.reportEverySeconds * second;
    this.#jitter = this.#stream.logUniform(20, 900);
    this.#counts = this.#stream.chance(0.85);
    this.#saysSpooled = this.#stream.chance(0.5);
    this.#saysPaused = this.#stream.chance(0.4);
    this.#powerCutEvery = this.#stream.logUniform(15, 400) * 24 * hour;
    this.#last = parts.begin;
  }

  begin(at: number): void {
    this.#start(at);
    this.#parts.agenda.add(at + this.#stream.uniform(2, 15) * second, this.#tick);
    this.#nextPowerCut(at);
  }

  readonly #tick = (now: number): void => {
    const { agenda, board } = this.#parts;
    const span = now - this.#last;
    this.#last = now;
    this.#pass(span, now);
    if (board.isOn) for (const post of board.posts(now, this.#read(now))) this.#send(post, now, 0);
    agenda.add(now + this.#interval + Math.round(this.#jitter * this.#stream.unit()), this.#tick);
  };

  #pass(span: number, now: number): void {
    const { weather, balance, thermometers, power, beam, board } = this.#parts;
    const sky = weather.to(now);
    balance.pass(span, sky);
    thermometers.pass(span, sky);
    power.pass(span, sky);
    board.counts.chute += beam.strays(now, span);
  }

  #read(now: number): Record<string, unknown> {
    const { story, weather, balance, hopper, thermometers, power, radio, board, flock } = this.#parts;
    const readings: Record<string, unknown> = {};
    if (story.sensors.scale) {
      const { hopperIsOff, hands } = this.#person.handling(now);
      const handling = { hopperIsOff, hands, birdGrams: flock.gramsOnHopper(now) };
      const grams = balance.read(now, weather.now, hopper.grams, handling);
      if (grams !== undefined) readings.hopperGrams = grams;
    }
    thermometers.readInto(readings);
    power.readInto(readings);
    radio.readInto(readings);
    if (this.#saysSpooled) readings.spooled = board.spooled;
    if (this.#saysPaused) readings.paused = false;
    if (this.#counts) this.#countInto(readings);
    return readings;
  }

  #countInto(readings: Record<string, unknown>): void {
    const { story, board } = this.#parts;
    const { button, detector, chute, perch } = story.sensors;
    if (!button && !detector && !chute && !perch) return;
    const counts: Partial<typeof board.counts> = {};
    if (button) counts.button = board.counts.button;
    if (detector) counts.detector = board.counts.detector;
    if (chute) counts.chute = board.counts.chute;
    if (perch) counts.perch = board.counts.perch;
    readings.counts = counts;
  }

  /** A report whose answer doesn't come is sent again as it was, or the events come with the next. */
  #send(post: Post, now: number, tries: number): void {
    const { agenda, board, radio } = this.#parts;
    const sent = radio.send(now);
    if (sent !== null) {
      agenda.add(now + sent.latency, (at) => {
        const read = readReport(post);
        if (read.kind === "unreadable")
          throw new Error(`expected a readable report, got ${JSON.stringify(read.errors)}`);
        this.#arrived(read.report, at);
        if (!sent.answerLost) board.stored(post);
      });
    }
    const isAnswered = sent !== null && !sent.answerLost;
    if (isAnswered || !radio.retries || tries >= 2) return;
    const { boot } = board;
    agenda.add(now + 4_500 + Math.round(this.#stream.uniform(0, 5_000)), (at) => {
      if (board.isOn && board.boot === boot) this.#send(post, at, tries + 1);
    });
  }

  #start(at: number): void {
    const { agenda, board } = this.#parts;
    board.start(at);
    const { boot } = board;
    agenda.add(at + Math.max(minute, Math.round(board.untilNextRestart())), (now) => {
      if (board.boot === boot && board.isOn) this.#stop(now, Math.round(this.#stream.logUniform(4, 90) * second));
    });
  }

  /** The keeper's plug, the grid, a battery that is changed: from half a minute to hours. */
  #nextPowerCut(now: number): void {
    this.#parts.agenda.add(now + hour + Math.round(this.#stream.exponential(this.#powerCutEvery)), (at) => {
      if (this.#parts.board.isOn) this.#stop(at, Math.round(this.#stream.logUniform(0.5, 300) * minute));
      this.#nextPowerCut(at);
    });
  }

  #stop(now: number, span: number): void {
    this.#program.interrupt(now);
    this.#parts.board.stop();
    this.#parts.agenda.add(now + span, (at) => this.#start(at));
  }
}
