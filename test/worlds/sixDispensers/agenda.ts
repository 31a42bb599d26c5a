export const second = 1_000;
export const minute = 60 * second;
export const hour = 60 * minute;
export const day = 24 * hour;

interface Entry {
  readonly at: number;
  readonly order: number; // what was entered first comes first at the same time
  readonly act: (now: number) => void;
}

/** What will happen, earliest first: a binary heap. */
export class Agenda {
  readonly #heap: Entry[] = [];
  #entered = 0;

  add(at: number, act: (now: number) => void): void {
    const heap = this.#heap;
    const entry = { at, order: this.#entered, act };
    this.#entered += 1;
    let place = heap.length;
    heap.push(entry);
    while (place > 0) {
      const parent = (place - 1) >> 1;
      const above = heap[parent] as Entry;
      if (!isBefore(entry, above)) break;
      heap[place] = above;
      place = parent;
    }
    heap[place] = entry;
  }

  get nextAt(): number {
    return this.#heap[0]?.at ?? Number.POSITIVE_INFINITY;
  }

  /** Does the next thing; nothing is left to do where `nextAt` is infinite. */
  runNext(): void {
    const first = this.#heap[0];
    const last = this.#heap.pop();
    if (first === undefined || last === undefined) return;
    if (first !== last) this.#sink(last);
    first.act(first.at);
  }

  #sink(entry: Entry): void {
    const heap = this.#heap;
    let place = 0;
    for (;;) {
      let child = 2 * place + 1;
      if (child >= heap.length) break;
      if (child + 1 < heap.length && isBefore(heap[child + 1] as Entry, heap[child] as Entry)) child += 1;
      const below = heap[child] as Entry;
      if (!isBefore(below, entry)) break;
      heap[place] = below;
      place = child;
    }
    heap[place] = entry;
  }
}

const isBefore = (a: Entry, b: Entry): boolean => a.at < b.at || (a.at === b.at && a.order < b.order);
