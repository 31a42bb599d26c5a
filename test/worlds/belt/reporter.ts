import { type PostedReport, readReport } from "../../../server/contract/readReport.ts";
import { day, hour, second } from "./agenda.ts";
import type { Parcel } from "./board.ts";
import type { Chance } from "./chance.ts";
import type { Flock } from "./flock.ts";
import type { Parts } from "./parts.ts";
import type { Program } from "./program.ts";
import { Way } from "./way.ts";

/** What the program puts into a report besides what the sensors measure. */
interface Habits {
  readonly counts: boolean;
  readonly spooled: boolean;
  readonly paused: boolean;
  readonly signal: boolean;
  readonly emptyList: boolean;
  readonly clock: "none" | "right" | "offByHours" | "from1970";
}

/** Measures at each interval and sends what waits; what arrives is handed on. */
export class Reporter {
  readonly #parts: Parts;
  readonly #program: Program;
  readonly #flock: Flock;
  readonly #arrived: (report: PostedReport) => void;
  readonly #chance: Chance;
  readonly #way: Way;
  readonly #habits: Habits;
  readonly #span: number;
  readonly #dbm: number;
  #idleFrom: number;

  constructor(parts: Parts, program: Program, flock: Flock, arrived: (report: PostedReport) => void) {
    this.#parts = parts;
    this.#program = program;
    this.#flock = flock;
    this.#arrived = arrived;
    const chance = parts.chance("reporter");
    this.#chance = chance;
    this.#way = new Way(parts.chance("way"), parts.begin);
    this.#habits = {
      counts: chance.happens(0.6),
      spooled: chance.happens(0.4),
      paused: chance.happens(0.3),
      signal: chance.happens(0.6),
      emptyList: chance.happens(0.5),
      clock: chance.pick(["none", "none", "right", "offByHours", "from1970"]),
    };
    this.#span = parts.story.reportEverySeconds * second * (1 + 0.002 * chance.share());
    this.#dbm = chance.between(-86, -48);
    this.#idleFrom = parts.begin;
  }

  begin(): void {
    this.#idleFrom = this.#parts.agenda.now;
    this.#program.later(this.#chance.between(1, 12) * second, () => this.#report());
  }

  #report(): void {
    const { board, agenda } = this.#parts;
    const earlier = board.earlierParcel();
    if (earlier !== null) this.#send({ boot: earlier.boot, sentUptimeMs: null, events: earlier.events }, earlier);
    const parcel = board.parcel();
    const hasList = parcel.events.length > 0 || this.#habits.emptyList;
    const body = {
      boot: parcel.boot,
      sentUptimeMs: board.uptimeAt(agenda.now),
      ...this.#stamp(),
      readings: this.#readings(),
      ...(hasList && { events: parcel.events }),
    };
    this.#send(body, parcel);
    this.#program.later(this.#span * (1 + 0.004 * (this.#chance.share() - 0.5)), () => this.#report());
  }

  #send(body: object, parcel: Parcel): void {
    const { agenda, board } = this.#parts;
    const { arrivals, isAnswered } = this.#way.send(agenda.now);
    for (const [index, at] of arrivals.entries()) {
      agenda.at(at, () => {
        const read = readReport(body);
        if (read.kind === "unreadable") throw new Error(`expected a readable report, got ${JSON.stringify(body)}`);
        this.#arrived(read.report);
        if (isAnswered && index === arrivals.length - 1) board.forget(parcel);
      });
    }
  }

  /** Boards without a clock of their own send no time, or a wrong one. */
  #stamp(): object {
    const { agenda, board } = this.#parts;
    const iso = (at: number) => ({ sentAt: new Date(Math.floor(at)).toISOString() });
    switch (this.#habits.clock) {
      case "none":
        return {};
      case "right":
        return iso(agenda.now);
      case "offByHours":
        return iso(agenda.now + 2 * hour);
      case "from1970":
        return iso(board.uptimeAt(agenda.now) + day);
    }
  }

  #readings(): object {
    const { agenda, weather, thermometers, supply, board, story } = this.#parts;
    const { now } = agenda;
    const sky = weather.at(now);
    const habits = this.#habits;
    this.#parts.counter.idle(now - this.#idleFrom, sky, now);
    this.#idleFrom = now;
    const readings: Record<string, unknown> = {};
    const hopperGrams = story.sensors.scale ? this.#weigh() : undefined;
    if (hopperGrams !== undefined) readings.hopperGrams = hopperGrams;
    Object.assign(readings, thermometers.read(now, sky), supply.readings(now, sky));
    if (habits.signal) readings.signalDbm = Math.round(this.#dbm + 3 * this.#chance.gauss());
    if (habits.spooled) readings.spooled = board.waiting;
    if (habits.counts) readings.counts = this.#counts();
    if (habits.paused) readings.paused = false;
    return readings;
  }

  #weigh(): number | null | undefined {
    const { agenda, weather, cell, silo, belt, hands } = this.#parts;
    const onScale = silo.content + (cell.bearsAll ? belt.load.grams : 0);
    const food = hands.isHopperOff ? -400 : onScale; // without the hopper the cell shows less than its own zero
    return cell.read(agenda.now, { food, birds: this.#flock.gramsOn, hands: hands.grams }, weather.at(agenda.now));
  }

  #counts(): object {
    const { story, board, counter } = this.#parts;
    const { button, detector, chute, perch } = story.sensors;
    const counts: Record<string, number> = {};
    if (button) counts.button = board.counts.button;
    if (detector) counts.detector = board.counts.detector;
    if (chute) counts.chute = counter.total;
    if (perch) counts.perch = board.counts.perch;
    return counts;
  }
}
