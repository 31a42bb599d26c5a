/** What will happen, by its time in milliseconds since 1970: a binary heap. What has the same time happens in the order of entry. */
export class Agenda {
  readonly #heap: Entry[] = [];
  #entered = 0;
  #now: number;

  constructor(begin: number) {
    this.#now = begin;
  }

  get now(): number {
    return this.#now;
  }

  /** What would lie in the past happens next. */
  at(time: number, act: () => void): void {
    const heap = this.#heap;
    heap.push({ time: Math.max(time, this.#now), order: this.#entered++, act });
    for (let child = heap.length - 1; child > 0; ) {
      const parent = (child - 1) >> 1;
      if (!this.#swapIfLater(parent, child)) return;
      child = parent;
    }
  }

  /** What would lie in the past doesn't happen. */
  plan(time: number, act: () => void): void {
    if (time >= this.#now) this.at(time, act);
  }

  in(span: number, act: () => void): void {
    this.at(this.#now + span, act);
  }

  /** @returns whether anything happened: false where the next thing lies after `end`. */
  step(end: number): boolean {
    const first = this.#heap[0];
    if (first === undefined || first.time > end) return false;
    const last = this.#heap.pop() as Entry;
    if (this.#heap.length > 0) {
      this.#heap[0] = last;
      this.#sink();
    }
    this.#now = first.time;
    first.act();
    return true;
  }

  #sink(): void {
    for (let parent = 0; ; ) {
      const left = 2 * parent + 1;
      if (left >= this.#heap.length) return;
      const child = this.#isLater(left, left + 1) ? left + 1 : left;
      if (!this.#swapIfLater(parent, child)) return;
      parent = child;
    }
  }

  #swapIfLater(parent: number, child: number): boolean {
    if (!this.#isLater(parent, child)) return false;
    const [upper, lower] = [this.#heap[parent] as Entry, this.#heap[child] as Entry];
    this.#heap[parent] = lower;
    this.#heap[child] = upper;
    return true;
  }

  #isLater(one: number, other: number): boolean {
    const [a, b] = [this.#heap[one], this.#heap[other]];
    if (a === undefined || b === undefined) return false;
    return a.time > b.time || (a.time === b.time && a.order > b.order);
  }
}

interface Entry {
  readonly time: number;
  readonly order: number;
  readonly act: () => void;
}
