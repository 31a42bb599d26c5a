import { day, minute, second } from "./agenda.ts";
import type { Stream } from "./stream.ts";

export type Body = { readonly seq: number; readonly uptimeMs: number; readonly kind: string } & Record<string, unknown>;

/** One report as it is sent. */
export interface Post {
  readonly boot: string;
  readonly sentUptimeMs: number | null;
  readonly readings?: Record<string, unknown>;
  readonly events?: readonly Body[];
}

interface Waiting {
  readonly boot: string;
  readonly events: Body[];
}

type Counted = "button" | "detector" | "chute" | "perch";

/** The small computer in the feeder: its starts, its uptime, the events that wait on it. It has no clock of its own. */
export class Board {
  readonly #stream: Stream;
  readonly #clockRate: number; // feeder's seconds in a true second
  readonly #keepsOnCard: boolean; // events outlast a restart
  readonly #roomForEvents: number;
  readonly #perReport: number;
  readonly #emptyList: boolean; // sends "events": [] where there are none
  readonly #restartsEvery: number;
  isOn = false;
  counts: Record<Counted, number> = { button: 0, detector: 0, chute: 0, perch: 0 };
  #now: Waiting = { boot: "none", events: [] };
  readonly #before: Waiting[] = [];
  #bootAt = 0;
  #seq = 0;

  constructor(stream: Stream) {
    this.#stream = stream;
    // A crystal is within 100 ppm; a chip that sleeps on its own oscillator is far worse (data sheets, from memory).
    this.#clockRate = 1 + stream.normal() * (stream.chance(0.12) ? 0.003 : 0.00004);
    this.#keepsOnCard = stream.chance(0.5);
    this.#roomForEvents = this.#keepsOnCard ? 4_000 : stream.whole(100, 900);
    this.#perReport = stream.pick([20, 50, 100, 200, 500]);
    this.#emptyList = stream.chance(0.5);
    this.#restartsEvery = stream.logUniform(3, 250) * day;
  }

  untilNextRestart(): number {
    return this.#stream.exponential(this.#restartsEvery);
  }

  start(at: number): void {
    const word = Math.floor(this.#stream.unit() * 2 ** 32);
    this.#now = { boot: `b-${word.toString(16).padStart(8, "0")}`, events: [] };
    this.#bootAt = at;
    this.#seq = 0;
    this.counts = { button: 0, detector: 0, chute: 0, perch: 0 };
    this.isOn = true;
  }

  stop(): void {
    if (this.isOn && this.#keepsOnCard && this.#now.events.length > 0) this.#before.push(this.#now);
    this.isOn = false;
  }

  get keepsOnCard(): boolean {
    return this.#keepsOnCard;
  }

  get boot(): string {
    return this.#now.boot;
  }

  get spooled(): number {
    return this.#before.reduce((sum, { events }) => sum + events.length, this.#now.events.length);
  }

  /** @returns the event's number, or null where nothing is recorded because the computer is off. */
  record(kind: string, at: number, fields: Record<string, unknown>): number | null {
    if (!this.isOn) return null;
    this.#seq += 1;
    const { events } = this.#now;
    events.push({ seq: this.#seq, uptimeMs: this.uptime(at), kind, ...fields });
    if (events.length > this.#roomForEvents) events.shift();
    return this.#seq;
  }

  uptime(at: number): number {
    return Math.max(0, Math.floor((at - this.#bootAt) * this.#clockRate));
  }

  /** What it sends now: first what an earlier boot left behind, then its own. */
  posts(now: number, readings: Record<string, unknown>): readonly Post[] {
    const events = this.#now.events.slice(0, this.#perReport);
    const listed = events.length > 0 || this.#emptyList ? { events } : {};
    const own: Post = { boot: this.#now.boot, sentUptimeMs: this.uptime(now), readings, ...listed };
    const [oldest] = this.#before;
    if (oldest === undefined) return [own];
    return [{ boot: oldest.boot, sentUptimeMs: null, events: oldest.events.slice(0, this.#perReport) }, own];
  }

  /** The server has these on disk. */
  stored({ boot, events }: Post): void {
    const last = events?.[events.length - 1];
    if (last === undefined) return;
    const waiting = boot === this.#now.boot ? this.#now : this.#before.find((earlier) => earlier.boot === boot);
    if (waiting === undefined) return;
    const kept = waiting.events.findIndex(({ seq }) => seq > last.seq);
    waiting.events.splice(0, kept < 0 ? waiting.events.length : kept);
    if (waiting !== this.#now && waiting.events.length === 0) this.#before.splice(this.#before.indexOf(waiting), 1);
  }
}

/** The way to the server: good most of the time, with bad spells (Gilbert 1960) and outages. */
export class Radio {
  readonly #stream: Stream;
  readonly #lossGood: number;
  readonly #lossBad: number;
  readonly #goodFor: number;
  readonly #badFor: number;
  readonly #outagesEvery: number;
  readonly #lostAnswers: number; // share of arrived reports whose answer doesn't
  readonly #latency: number;
  readonly #dbm: number;
  readonly #showsDbm: boolean;
  readonly retries: boolean;
  #isBad = false;
  #changesAt: number;
  #outageAt: number;
  #outageEnds: number;

  constructor(stream: Stream, at: number) {
    this.#stream = stream;
    this.#lossGood = stream.logUniform(0.0003, 0.02);
    this.#lossBad = stream.uniform(0.2, 0.95);
    this.#goodFor = stream.logUniform(4, 200) * 60 * minute;
    this.#badFor = stream.logUniform(2, 60) * minute;
    this.#outagesEvery = stream.logUniform(8, 120) * day;
    this.#lostAnswers = stream.logUniform(0.0002, 0.02);
    this.#latency = stream.logUniform(30, 900);
    this.#dbm = stream.uniform(-86, -48);
    this.#showsDbm = stream.chance(0.65);
    this.retries = stream.chance(0.5);
    this.#changesAt = at + stream.exponential(this.#goodFor);
    this.#outageAt = at + day / 2 + stream.exponential(this.#outagesEvery);
    this.#outageEnds = this.#outageAt + stream.logUniform(1, 60) * 60 * minute;
  }

  /** @returns how long a report that is sent now takes and whether its answer comes back; null where it is lost. */
  send(now: number): { readonly latency: number; readonly answerLost: boolean } | null {
    this.#follow(now);
    const isOut = now >= this.#outageAt && now < this.#outageEnds;
    const loss = this.#isBad ? this.#lossBad : this.#lossGood;
    if (isOut || this.#stream.unit() < loss) return null;
    const latency = Math.min(4 * second, 5 + this.#stream.exponential(this.#latency));
    const answers = this.#isBad ? loss / 2 : this.#lostAnswers;
    return { latency: Math.round(latency), answerLost: this.#stream.unit() < answers };
  }

  readInto(readings: Record<string, unknown>): void {
    if (this.#showsDbm) readings.signalDbm = Math.round(this.#dbm - (this.#isBad ? 4 : 0) + 2 * this.#stream.normal());
  }

  #follow(now: number): void {
    while (now >= this.#changesAt) {
      this.#isBad = !this.#isBad;
      this.#changesAt += this.#stream.exponential(this.#isBad ? this.#badFor : this.#goodFor);
    }
    if (now >= this.#outageEnds) {
      this.#outageAt = this.#outageEnds + this.#stream.exponential(this.#outagesEvery);
      this.#outageEnds = this.#outageAt + this.#stream.logUniform(1, 60) * 60 * minute;
    }
  }
}
