import type { WorldSensors } from "../world.ts";
import type { Random } from "./random.ts";
import { dayMs, minuteMs } from "./sky.ts";

/** The feeder's small computer: boots, running totals, and the events that wait to be sent. Ranges: common practice, no source. */

export interface ComputerPart {
  readonly hasCard: boolean; // events survive a restart
  readonly numbersAtStart: boolean; // a portion gets its number when its run starts, and holds back what comes after it
  readonly stampsEnd: boolean; // a portion's time is the end of its run, against the protocol
  readonly saysSentAt: boolean;
  readonly batch: number; // events in a report at most
  readonly restartsPerDay: number;
  readonly powerCutsPerDay: number;
  readonly clockError: number; // of the uptime, as a share
}

export const drawComputer = (random: Random): ComputerPart => ({
  hasCard: random.chance(0.75),
  numbersAtStart: random.chance(0.4),
  stampsEnd: random.chance(0.15),
  saysSentAt: random.chance(0.4),
  batch: random.pick([20, 50, 100, 200, 500]),
  restartsPerDay: random.chance(0.25) ? 0 : random.logUniform(0.005, 0.5),
  powerCutsPerDay: random.chance(0.6) ? 0 : random.logUniform(0.005, 0.06),
  clockError: random.normal(0, 0.00002),
});

export type EventFields = { readonly kind: string } & Readonly<Record<string, unknown>>;

interface Entry {
  readonly boot: string;
  readonly event: { readonly seq: number; readonly uptimeMs: number } | null; // null while its run lasts
}

/** What one report takes from the waiting events. */
export interface Batch {
  readonly boot: string;
  readonly events: readonly object[];
  readonly isOld: boolean; // of an earlier boot
}

export interface OpenPortion {
  readonly boot: string;
  readonly seq: number | null;
  readonly uptimeMs: number;
  readonly cause: string;
  readonly paysFor: number | null;
}

type Sensor = "button" | "detector" | "chute" | "perch";
export const countedSensors: readonly Sensor[] = ["button", "detector", "chute", "perch"];

export class Computer {
  readonly part: ComputerPart;
  isOn = false;
  knowsTime = false;
  isPaused = false;
  boot = "";
  counts: Record<Sensor, number> = { button: 0, detector: 0, chute: 0, perch: 0 };
  readonly #random: Random;
  readonly #sensors: WorldSensors;
  #spool: Entry[] = [];
  #startedAt = 0;
  #seq = 0;
  #clockBehind = 0; // milliseconds
  #open: OpenPortion | null = null;

  constructor(part: ComputerPart, sensors: WorldSensors, random: Random) {
    this.part = part;
    this.#sensors = sensors;
    this.#random = random;
  }

  start(at: number, wasOffFor = 0): void {
    this.isOn = true;
    this.#startedAt = at;
    this.#seq = 0;
    this.knowsTime = false;
    this.#clockBehind = wasOffFor + this.#random.uniform(0, 20 * minuteMs);
    this.counts = { button: 0, detector: 0, chute: 0, perch: 0 };
    const digits = Array.from({ length: 8 }, () => this.#random.integer(0, 15).toString(16));
    this.boot = `s-${digits.join("")}`;
  }

  /** A run under way is known to have been cut short, where its begin is on a card. */
  stop(): void {
    if (this.#open !== null) this.#close(this.#open, { motorMs: null, cutShort: true });
    this.isOn = false;
    if (!this.part.hasCard) this.#spool = [];
  }

  uptime(at: number): number {
    return Math.max(0, Math.floor((at - this.#startedAt) * (1 + this.part.clockError)));
  }

  /** Its own clock, which stood while it was off. */
  clock(at: number): number {
    return this.knowsTime ? at : at - this.#clockBehind;
  }

  count(sensor: Sensor, by = 1): void {
    if (this.isOn && this.#sensors[sensor]) this.counts[sensor] += by;
  }

  /** @returns the event's number. */
  record(at: number, fields: EventFields): number {
    this.#seq += 1;
    this.#spool.push({ boot: this.boot, event: { seq: this.#seq, uptimeMs: this.uptime(at), ...fields } });
    return this.#seq;
  }

  beginPortion(at: number, cause: string, paysFor: number | null): OpenPortion {
    const seq = this.part.numbersAtStart && this.#sensors.portionEvents ? ++this.#seq : null;
    const open = { boot: this.boot, seq, uptimeMs: this.uptime(at), cause, paysFor };
    if (seq !== null) this.#spool.push({ boot: this.boot, event: null });
    this.#open = open;
    return open;
  }

  /** Nothing where the computer has restarted since. */
  endPortion(at: number, open: OpenPortion, fields: object): void {
    if (this.#open !== open) return;
    const stamp = this.part.stampsEnd ? { ...open, uptimeMs: this.uptime(at) } : open;
    this.#close(stamp, fields);
  }

  #close(open: OpenPortion, fields: object): void {
    this.#open = null;
    if (!this.#sensors.portionEvents) return;
    const seq = open.seq ?? ++this.#seq;
    const paysFor = open.paysFor === null ? {} : { paysFor: open.paysFor };
    const event = { seq, uptimeMs: open.uptimeMs, kind: "portion", cause: open.cause, ...paysFor, ...fields };
    const place = open.seq === null ? -1 : this.#spool.findLastIndex((entry) => entry.event === null);
    if (place === -1) this.#spool.push({ boot: open.boot, event });
    else this.#spool[place] = { boot: open.boot, event };
  }

  get waiting(): number {
    return this.#spool.length;
  }

  /** The oldest events of one boot, up to a portion that still runs. */
  nextBatch(): Batch {
    const boot = this.#spool[0]?.boot ?? this.boot;
    const events: object[] = [];
    for (const entry of this.#spool) {
      if (entry.boot !== boot || entry.event === null || events.length === this.part.batch) break;
      events.push(entry.event);
    }
    return { boot, events, isOld: boot !== this.boot };
  }

  /** The server has them. */
  forget({ events }: Batch): void {
    if (events.length > 0 && this.#spool[0]?.event === events[0]) this.#spool.splice(0, events.length);
  }

  /** When it stops by itself next, and for how long. */
  drawStop(): { readonly in: number; readonly offMs: number } {
    const { restartsPerDay, powerCutsPerDay } = this.part;
    const perDay = restartsPerDay + powerCutsPerDay;
    const isPowerCut = this.#random.chance(powerCutsPerDay / Math.max(1e-9, perDay));
    return {
      in: perDay === 0 ? Number.POSITIVE_INFINITY : this.#random.exponential(dayMs / perDay),
      offMs: isPowerCut ? this.#random.logNormal(50 * minuteMs, 1) : this.#random.uniform(15_000, 110_000),
    };
  }
}
