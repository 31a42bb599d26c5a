interface Item {
  readonly at: number;
  readonly order: number;
  readonly run: (at: number) => void;
}

/** What is going to happen, the soonest first; what was added first comes first where two have one time. A binary heap. */
export class Agenda {
  private readonly items: Item[] = [];
  private added = 0;

  add(at: number, run: (at: number) => void): void {
    const item = { at, order: this.added, run };
    this.added += 1;
    let index = this.items.length;
    while (index > 0) {
      const above = (index - 1) >> 1;
      const parent = this.items[above] as Item;
      if (comesBefore(parent, item)) break;
      this.items[index] = parent;
      index = above;
    }
    this.items[index] = item;
  }

  /** Runs the next item. @returns its time, or null where none is left before `end` */
  runNext(end: number): number | null {
    const [first] = this.items;
    if (first === undefined || first.at >= end) return null;
    const last = this.items.pop() as Item;
    if (this.items.length > 0) this.sink(last);
    first.run(first.at);
    return first.at;
  }

  private sink(item: Item): void {
    const { items } = this;
    let index = 0;
    for (;;) {
      let child = 2 * index + 1;
      if (child >= items.length) break;
      if (child + 1 < items.length && comesBefore(items[child + 1] as Item, items[child] as Item)) child += 1;
      if (comesBefore(item, items[child] as Item)) break;
      items[index] = items[child] as Item;
      index = child;
    }
    items[index] = item;
  }
}

const comesBefore = (a: Item, b: Item): boolean => a.at < b.at || (a.at === b.at && a.order < b.order);
