import type { Agenda } from "./agenda.ts";
import type { Batch, Computer } from "./computer.ts";
import type { Line } from "./line.ts";
import type { Random } from "./random.ts";
import type { Readings } from "./readings.ts";
import { second } from "./time.ts";

interface ReporterParts {
  readonly agenda: Agenda;
  readonly computer: Computer;
  readonly line: Line;
  readonly readings: Readings;
  readonly everySeconds: number;
  deliver(at: number, posted: object): void;
}

/**
 * Sends a report at each interval of the feeder's own clock. Events are sent again until an answer says that they are stored; so a
 * lost answer brings the same ones twice. What an earlier boot left behind goes first, without readings.
 */
export class Reporter {
  readonly #parts: ReporterParts;
  readonly #random: Random;
  #starts = 0;

  constructor(random: Random, parts: ReporterParts) {
    this.#random = random;
    this.#parts = parts;
  }

  start(at: number): void {
    this.#starts += 1;
    const start = this.#starts;
    const report = (now: number): void => {
      if (start === this.#starts && this.#parts.computer.isOn) this.#parts.agenda.add(this.#report(now), report);
    };
    this.#parts.agenda.add(Math.round(at + this.#random.between(1, 15) * second), report);
  }

  /** @returns when the next one is due */
  #report(at: number): number {
    const { computer, readings, everySeconds } = this.#parts;
    const left = computer.leftBehind();
    const leftIsKnown = left === null || this.#send(at, left, null, null);
    const current = computer.current();
    const isKnown = this.#send(at, current, computer.uptimeAt(at), readings);
    const hasMore = left !== null || !current.isAll;
    if (hasMore && leftIsKnown && isKnown) return Math.round(at + 5 * second);
    const processing = this.#random.between(0, 0.3) * second;
    return Math.round(at + (everySeconds * second) / computer.traits.clockRate + processing);
  }

  /** @returns whether the feeder gets an answer */
  #send(at: number, batch: Batch, sentUptimeMs: number | null, readings: Readings | null): boolean {
    const { agenda, line, computer, deliver } = this.#parts;
    const { arrives, isAnswered, at: arrivesAt } = line.carry(at);
    if (!arrives) return false;
    const { boot, events } = batch;
    const posted =
      readings === null ? { boot, sentUptimeMs, events } : { boot, sentUptimeMs, readings: readings.at(at), events };
    agenda.add(arrivesAt, (now) => {
      deliver(now, posted);
      if (isAnswered && batch.through > 0) computer.forget(batch);
    });
    return isAnswered;
  }
}
