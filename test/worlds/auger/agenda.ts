/** What will happen, the earliest first; at the same moment in the order in which it was added. A binary heap. */
export class Agenda {
  readonly #heap: Entry[] = [];
  #added = 0;
  #now: number;

  constructor(begin: number) {
    this.#now = begin;
  }

  /** What would lie in the past never happens: a story begins in the middle of a day that is planned as a whole. */
  add(at: number, happen: Happening): void {
    if (at < this.#now) return;
    const entry: Entry = { at, order: this.#added, happen };
    this.#added += 1;
    const heap = this.#heap;
    let place = heap.length;
    heap.push(entry);
    while (place > 0) {
      const parent = (place - 1) >> 1;
      const above = heap[parent] as Entry;
      if (isBefore(above, entry)) break;
      heap[place] = above;
      place = parent;
    }
    heap[place] = entry;
  }

  /** Takes out what is next; null when nothing is left. */
  take(): Entry | null {
    const heap = this.#heap;
    const first = heap[0];
    const last = heap.pop();
    if (first === undefined || last === undefined) return null;
    if (heap.length > 0) sink(heap, last);
    this.#now = first.at;
    return first;
  }
}

type Happening = (at: number) => void;
interface Entry {
  readonly at: number;
  readonly order: number;
  readonly happen: Happening;
}

const isBefore = (a: Entry, b: Entry): boolean => a.at < b.at || (a.at === b.at && a.order < b.order);

/** Puts the entry where the first was, and below all that come before it. */
function sink(heap: Entry[], entry: Entry): void {
  let place = 0;
  for (;;) {
    let child = 2 * place + 1;
    if (child >= heap.length) break;
    if (child + 1 < heap.length && isBefore(heap[child + 1] as Entry, heap[child] as Entry)) child += 1;
    if (isBefore(entry, heap[child] as Entry)) break;
    heap[place] = heap[child] as Entry;
    place = child;
  }
  heap[place] = entry;
}
