import { day, minute, second } from "./agenda.ts";
import type { Chance } from "./chance.ts";

export interface Recorded {
  readonly seq: number;
  readonly uptimeMs: number;
  readonly kind: string;
}

interface Boot {
  readonly id: string;
  readonly from: number;
  seq: number;
  events: Recorded[];
}

/** Events of one start, to be sent together. */
export interface Parcel {
  readonly boot: string;
  readonly events: readonly Recorded[];
}

/** The feeder's small computer: it counts its own uptime, numbers its events and keeps them until the server has them. */
export class Board {
  readonly keepsOnCard: boolean; // events outlast a restart
  readonly #chance: Chance;
  readonly #rate: number; // of its clock
  readonly #roomFor: number;
  readonly #parcelMost: number;
  readonly #restartEvery: number;
  #isOn = true;
  #boot: Boot;
  #earlier: Boot[] = [];
  counts = { button: 0, detector: 0, perch: 0 };

  constructor(chance: Chance, begin: number) {
    this.#chance = chance;
    this.keepsOnCard = chance.happens(0.45);
    // A crystal is right to 100 ppm, a resonator to half a percent (data sheets, from memory).
    this.#rate = 1 + (chance.happens(0.85) ? 5e-5 : 2e-3) * chance.gauss();
    this.#roomFor = this.keepsOnCard ? 5_000 : chance.whole(150, 1_200);
    this.#parcelMost = chance.pick([25, 60, 150, 400]);
    this.#restartEvery = chance.factorBetween(4, 200) * day; // practice, no source
    this.#boot = this.#newBoot(begin - chance.between(10 * second, 2 * day));
  }

  get isOn(): boolean {
    return this.#isOn;
  }
  get bootId(): string {
    return this.#boot.id;
  }
  get waiting(): number {
    return this.#earlier.reduce((sum, { events }) => sum + events.length, this.#boot.events.length);
  }

  untilNextCrash = (): number => this.#chance.wait(this.#restartEvery);
  /** Most crashes end after seconds, some only when the mains are back. */
  offSpan = (): number =>
    this.#chance.happens(0.15) ? this.#chance.factorBetween(1, 300) * minute : this.#chance.between(3, 60) * second;

  uptimeAt = (at: number): number => Math.max(0, Math.floor((at - this.#boot.from) * this.#rate));

  record(kind: string, at: number, fields: object = {}): number {
    const boot = this.#boot;
    boot.seq += 1;
    boot.events.push({ seq: boot.seq, uptimeMs: this.uptimeAt(at), kind, ...fields });
    if (boot.events.length > this.#roomFor) boot.events.shift();
    return boot.seq;
  }

  stop(): void {
    this.#isOn = false;
    if (this.keepsOnCard && this.#boot.events.length > 0) this.#earlier.push(this.#boot);
    if (this.#earlier.length > 30) this.#earlier.shift();
    this.#boot = { ...this.#boot, events: [] };
  }

  start(at: number): void {
    this.#isOn = true;
    this.#boot = this.#newBoot(at - this.#chance.between(1, 5) * second);
    this.counts = { button: 0, detector: 0, perch: 0 };
  }

  parcel = (): Parcel => this.#packed(this.#boot);

  /** What the earliest start with waiting events left. */
  earlierParcel(): Parcel | null {
    const [earliest] = this.#earlier;
    return earliest === undefined ? null : this.#packed(earliest);
  }

  /** The server has stored these. */
  forget({ boot, events }: Parcel): void {
    const last = events.at(-1)?.seq;
    if (last === undefined) return;
    for (const each of [this.#boot, ...this.#earlier])
      if (each.id === boot) each.events = each.events.filter(({ seq }) => seq > last);
    this.#earlier = this.#earlier.filter(({ events: left }) => left.length > 0);
  }

  #packed = ({ id, events }: Boot): Parcel => ({ boot: id, events: events.slice(0, this.#parcelMost) });

  #newBoot(from: number): Boot {
    return { id: `b-${this.#chance.word().toString(16).padStart(8, "0")}`, from, seq: 0, events: [] };
  }
}
