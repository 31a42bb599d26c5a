export const second = 1_000;
export const minute = 60 * second;
export const hour = 60 * minute;
export const day = 24 * hour;

interface Task {
  readonly at: number;
  readonly rank: number; // of two at one time the one that was entered first comes first
  readonly act: () => void;
}

/** What will happen, in time order: a binary heap. The past can't be planned: what is late happens now. */
export class Agenda {
  now: number;
  readonly #tasks: Task[] = [];
  #entered = 0;

  constructor(begin: number) {
    this.now = begin;
  }

  get nextAt(): number {
    return this.#tasks[0]?.at ?? Number.POSITIVE_INFINITY;
  }

  at(moment: number, act: () => void): void {
    this.#entered += 1;
    const task = { at: Math.max(this.now, Math.round(moment)), rank: this.#entered, act };
    const tasks = this.#tasks;
    let place = tasks.push(task) - 1;
    while (place > 0) {
      const parent = (place - 1) >> 1;
      const above = tasks[parent] as Task;
      if (!precedes(task, above)) break;
      tasks[place] = above;
      place = parent;
    }
    tasks[place] = task;
  }

  in(span: number, act: () => void): void {
    this.at(this.now + span, act);
  }

  next(): void {
    const [first] = this.#tasks;
    const last = this.#tasks.pop();
    if (first === undefined || last === undefined) return;
    if (last !== first) this.#settle(last);
    this.now = first.at;
    first.act();
  }

  #settle(task: Task): void {
    const tasks = this.#tasks;
    let place = 0;
    for (;;) {
      let child = 2 * place + 1;
      const left = tasks[child];
      if (left === undefined) break;
      const right = tasks[child + 1];
      if (right !== undefined && precedes(right, left)) child += 1;
      const below = tasks[child] as Task;
      if (!precedes(below, task)) break;
      tasks[place] = below;
      place = child;
    }
    tasks[place] = task;
  }
}

const precedes = (one: Task, other: Task): boolean =>
  one.at < other.at || (one.at === other.at && one.rank < other.rank);
