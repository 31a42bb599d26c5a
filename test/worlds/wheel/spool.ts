import type { Random } from "./random.ts";

/** Events that wait on the feeder until the server has confirmed them, by the boot in which they happened. */
export interface SpooledEvent {
  readonly seq: number;
  readonly uptimeMs: number;
  readonly kind: string;
}

interface Boot {
  readonly id: string;
  readonly startedAt: number;
  seq: number;
  waiting: SpooledEvent[];
}

export interface Batch {
  readonly boot: string;
  readonly events: readonly SpooledEvent[];
}

export class Spool {
  private readonly random: Random;
  private readonly keepsThroughRestarts: boolean; // on a card; else in memory, and lost
  private readonly room: number;
  private readonly batchMax: number;
  private boot: Boot;
  private leftBehind: Boot[] = [];

  constructor(random: Random, now: number) {
    this.random = random;
    this.keepsThroughRestarts = random.chance(0.5);
    this.room = Math.round(this.keepsThroughRestarts ? 20_000 : random.logBetween(200, 4_000));
    this.batchMax = random.pick([50, 100, 200, 500]);
    this.boot = this.newBoot(now);
  }

  get waiting(): number {
    return this.leftBehind.reduce((sum, { waiting }) => sum + waiting.length, this.boot.waiting.length);
  }

  uptimeAt(moment: number): number {
    return Math.max(0, Math.round(moment - this.boot.startedAt));
  }

  /** @returns the seq of the event */
  record(kind: string, happenedAt: number, fields: object = {}): number {
    const { boot } = this;
    boot.seq += 1;
    boot.waiting.push({ seq: boot.seq, uptimeMs: this.uptimeAt(happenedAt), kind, ...fields });
    if (boot.waiting.length > this.room) boot.waiting.shift();
    return boot.seq;
  }

  /** The feeder starts again, now. */
  restart(now: number): void {
    if (this.keepsThroughRestarts && this.boot.waiting.length > 0) this.leftBehind.push(this.boot);
    if (this.leftBehind.length > 20) this.leftBehind.shift();
    this.boot = this.newBoot(now);
  }

  next(): Batch {
    return { boot: this.boot.id, events: this.boot.waiting.slice(0, this.batchMax) };
  }

  /** @returns what the oldest earlier boot left, or null */
  nextLeftBehind(): Batch | null {
    const [oldest] = this.leftBehind;
    return oldest === undefined ? null : { boot: oldest.id, events: oldest.waiting.slice(0, this.batchMax) };
  }

  /** The server has confirmed this batch. */
  confirm({ boot, events }: Batch): void {
    const through = events.at(-1)?.seq;
    if (through === undefined) return;
    const isAfter = ({ seq }: SpooledEvent) => seq > through;
    if (boot === this.boot.id) {
      this.boot.waiting = this.boot.waiting.filter(isAfter);
      return;
    }
    for (const left of this.leftBehind) if (left.id === boot) left.waiting = left.waiting.filter(isAfter);
    this.leftBehind = this.leftBehind.filter(({ waiting }) => waiting.length > 0);
  }

  private newBoot(now: number): Boot {
    const id = `b-${Math.floor(this.random.next() * 2 ** 32).toString(16)}`;
    return { id, startedAt: now, seq: 0, waiting: [] };
  }
}
