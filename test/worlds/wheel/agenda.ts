/** What happens next: acts in time order, and those of one moment in the order in which they were planned. */
export class Agenda {
  /** The moment of the act that runs, or ran last: milliseconds since 1970. */
  now: number;
  private readonly heap: Planned[] = [];
  private planned = 0;

  constructor(begin: number) {
    this.now = begin;
  }

  get nextAt(): number {
    return this.heap[0]?.at ?? Number.POSITIVE_INFINITY;
  }

  /** To the millisecond, and not in the past. */
  plan(at: number, act: () => void): void {
    this.planned += 1;
    const added = { at: Math.max(Math.round(at), this.now), order: this.planned, act };
    let index = this.heap.push(added) - 1;
    while (index > 0) {
      const parent = (index - 1) >> 1;
      const above = this.heap[parent];
      if (above === undefined || !isBefore(added, above)) break;
      this.heap[index] = above;
      index = parent;
    }
    this.heap[index] = added;
  }

  in(span: number, act: () => void): void {
    this.plan(this.now + span, act);
  }

  runNext(): void {
    const [first] = this.heap;
    const last = this.heap.pop();
    if (first === undefined || last === undefined) return;
    if (first !== last) this.sink(last);
    this.now = first.at;
    first.act();
  }

  /** Puts it at the top and lets it sink to its place. */
  private sink(item: Planned): void {
    let index = 0;
    for (;;) {
      const left = this.heap[2 * index + 1];
      if (left === undefined) break;
      const right = this.heap[2 * index + 2];
      const isRight = right !== undefined && isBefore(right, left);
      const child = isRight ? right : left;
      if (!isBefore(child, item)) break;
      this.heap[index] = child;
      index = 2 * index + (isRight ? 2 : 1);
    }
    this.heap[index] = item;
  }
}

interface Planned {
  readonly at: number;
  readonly order: number;
  readonly act: () => void;
}

const isBefore = (a: Planned, b: Planned): boolean => a.at < b.at || (a.at === b.at && a.order < b.order);
