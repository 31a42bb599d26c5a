import type { WorldSensors } from "../world.ts";
import type { Random } from "./random.ts";

export interface BoardEvent {
  readonly seq: number;
  readonly uptimeMs: number;
  readonly kind: string;
  readonly [field: string]: unknown;
}

/** Events of one start that nobody has confirmed. */
export interface Waiting {
  readonly boot: string;
  readonly events: BoardEvent[];
}

export type Counted = "button" | "detector" | "chute" | "perch";

/** The feeder's small computer: no clock but its uptime, running totals, and events that wait to be confirmed. */
export class Board {
  isOn = true;
  /** How many starts there were before this one. */
  starts = 0;
  waiting: Waiting;
  readonly leftBehind: Waiting[] = [];
  private readonly random: Random;
  private readonly build;
  private bootAt: number;
  private seq = 0;
  private totals = { button: 0, detector: 0, chute: 0, perch: 0 };

  constructor(random: Random, begin: number) {
    this.random = random;
    this.build = {
      pace: 1 + random.normal(0, 0.00008), // of its clock: crystals are some tens of millionths off, ceramic resonators more
      keepsEvents: random.chance(0.6), // through a restart
      waitingMax: Math.round(random.logBetween(300, 20_000)),
    };
    this.bootAt = begin - random.logBetween(60_000, 10 * 86_400_000);
    this.waiting = { boot: this.newId(), events: [] };
  }

  uptime = (at: number): number => Math.max(0, Math.floor((at - this.bootAt) * this.build.pace));

  /** @returns the event's number; null while the board is off */
  record(at: number, kind: string, fields: Readonly<Record<string, unknown>> = {}): number | null {
    if (!this.isOn) return null;
    this.seq += 1;
    const { events } = this.waiting;
    events.push({ seq: this.seq, uptimeMs: this.uptime(at), kind, ...fields });
    if (events.length > this.build.waitingMax) events.shift();
    return this.seq;
  }

  count(sensor: Counted, by = 1): void {
    if (this.isOn) this.totals[sensor] += by;
  }

  counts(sensors: WorldSensors): object | null {
    const { totals } = this;
    const counts: { -readonly [Sensor in Counted]?: number } = {};
    if (sensors.button) counts.button = totals.button;
    if (sensors.detector) counts.detector = totals.detector;
    if (sensors.chute) counts.chute = totals.chute;
    if (sensors.perch) counts.perch = totals.perch;
    const hasAny = sensors.button || sensors.detector || sensors.chute || sensors.perch;
    return hasAny ? counts : null;
  }

  switchOff(): void {
    this.isOn = false;
  }

  start(at: number): void {
    if (this.build.keepsEvents && this.waiting.events.length > 0) this.leftBehind.push(this.waiting);
    this.waiting = { boot: this.newId(), events: [] };
    this.totals = { button: 0, detector: 0, chute: 0, perch: 0 };
    this.seq = 0;
    this.bootAt = at;
    this.starts += 1;
    this.isOn = true;
  }

  /** Forgets what is stored, of this start or an earlier one. */
  confirm(boot: string, seq: number): void {
    const waiting = this.waiting.boot === boot ? this.waiting : this.leftBehind.find((each) => each.boot === boot);
    if (waiting === undefined) return;
    const kept = waiting.events.findIndex((event) => event.seq > seq);
    waiting.events.splice(0, kept === -1 ? waiting.events.length : kept);
    if (waiting !== this.waiting && waiting.events.length === 0) {
      this.leftBehind.splice(this.leftBehind.indexOf(waiting), 1);
    }
  }

  private newId = (): string =>
    `t-${this.random.word().toString(16).padStart(8, "0")}${this.random.word().toString(16).padStart(8, "0")}`;
}
