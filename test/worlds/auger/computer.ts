import type { Random } from "./random.ts";
import { day, minute, second } from "./time.ts";

/** The feeder's small computer: its boots, its drifting clock, its running totals, and the events that wait to be sent. */
export class Computer {
  readonly traits: ComputerTraits;
  readonly #random: Random;
  #boot: Boot;
  #left: Boot[] = []; // earlier boots with events that still wait
  #isOn = true;

  constructor(random: Random, begin: number) {
    this.#random = random;
    this.traits = drawTraits(random);
    this.#boot = this.#newBoot(begin - random.between(5, 600) * second);
  }

  get isOn(): boolean {
    return this.#isOn;
  }
  get boot(): string {
    return this.#boot.id;
  }
  get counts(): Readonly<SensorCounts> {
    return this.#boot.counts;
  }
  /** Events that wait, of all boots. */
  get waiting(): number {
    return this.#left.reduce((sum, { events }) => sum + events.length, this.#boot.events.length);
  }

  uptimeAt(at: number): number {
    return Math.max(0, Math.round((at - this.#boot.from) * this.traits.clockRate));
  }

  tally(sensor: keyof SensorCounts, count: number): void {
    this.#boot.counts[sensor] += count;
  }

  /** @returns the event's seq */
  record(at: number, fields: EventFields): number {
    const boot = this.#boot;
    boot.seq += 1;
    boot.events.push({ seq: boot.seq, uptimeMs: this.uptimeAt(at), ...fields });
    if (boot.events.length > spoolMax) boot.events = withoutLeastImportant(boot.events);
    return boot.seq;
  }

  /** What the next report carries: first what the oldest earlier boot left behind. */
  leftBehind(): Batch | null {
    const [oldest] = this.#left;
    return oldest === undefined ? null : this.#batch(oldest);
  }
  current = (): Batch => this.#batch(this.#boot);

  /** The answer says that these are stored. */
  forget({ boot, through }: Batch): void {
    const of = [this.#boot, ...this.#left].find(({ id }) => id === boot);
    if (of === undefined || of.events.length === 0) return;
    of.events = of.events.filter(({ seq }) => seq > through);
    this.#left = this.#left.filter(({ events }) => events.length > 0);
  }

  /** @returns when the power is back */
  losePower(at: number): number {
    this.#isOn = false;
    if (this.traits.keepsSpool && this.#boot.events.length > 0) this.#left.push(this.#boot);
    if (!this.traits.keepsSpool) this.#left = [];
    // A restart by itself takes seconds; one in eight is a power cut.
    const off = this.#random.chance(0.125) ? this.#random.logBetween(1, 240) * minute : 0;
    return at + off + this.#random.between(6, 90) * second;
  }

  start(at: number): void {
    this.#boot = this.#newBoot(at - this.#random.between(1, 6) * second); // uptime counts from before the program
    this.#isOn = true;
  }

  nextPowerLoss = (after: number): number => after + this.#random.exponential(this.traits.restartEvery);

  #batch({ id, events }: Boot): Batch {
    const batch = events.length <= this.traits.batchMax ? events : events.slice(0, this.traits.batchMax);
    return {
      boot: id,
      events: batch.length === 0 ? none : batch.slice(),
      through: batch.at(-1)?.seq ?? 0,
      isAll: batch.length === events.length,
    };
  }

  #newBoot(from: number): Boot {
    const id = `b-${this.#random.word().toString(16).padStart(8, "0")}`;
    return { id, from, seq: 0, events: [], counts: { button: 0, detector: 0, chute: 0, perch: 0 } };
  }
}

export type EventFields = { readonly kind: string } & Readonly<Record<string, unknown>>;
type RecordedEvent = { readonly seq: number; readonly uptimeMs: number } & EventFields;

export interface Batch {
  readonly boot: string;
  readonly events: readonly RecordedEvent[];
  readonly through: number;
  readonly isAll: boolean;
}

export interface SensorCounts {
  button: number;
  detector: number;
  chute: number;
  perch: number;
}

interface Boot {
  readonly id: string;
  readonly from: number;
  seq: number;
  events: RecordedEvent[];
  readonly counts: SensorCounts;
}

interface ComputerTraits {
  readonly clockRate: number;
  readonly restartEvery: number;
  readonly brownOuts: number; // chance at a start of the motor
  readonly keepsSpool: boolean;
  readonly batchMax: number;
}

function drawTraits(random: Random): ComputerTraits {
  // Crystals of small boards: 10 to 100 ppm. A ceramic resonator: up to 0.5 % (a published comparison of small boards' clocks).
  const hasCrystal = random.chance(0.85);
  const drift = hasCrystal ? random.between(-1e-4, 1e-4) : random.between(-5e-3, 5e-3);
  return {
    clockRate: 1 + drift,
    restartEvery: random.logBetween(2, 150) * day, // common practice, no source
    // A motor that starts on a weak supply restarts the board: one feeder in six; common practice, no source.
    brownOuts: random.chance(0.17) ? random.logBetween(0.0002, 0.004) : 0,
    keepsSpool: random.chance(0.6), // on a card; otherwise in memory
    batchMax: random.pick([40, 200, 1_000]),
  };
}

const spoolMax = 4_000;
const none: readonly RecordedEvent[] = [];

/** Half of the visits and presses go first, the oldest ones; then the oldest of all. */
function withoutLeastImportant(events: readonly RecordedEvent[]): RecordedEvent[] {
  let drop = 500;
  const left = events.filter(({ kind }) => {
    const goes = drop > 0 && (kind === "visit" || kind === "press");
    if (goes) drop -= 1;
    return !goes;
  });
  return left.length < events.length ? left : left.slice(500);
}
