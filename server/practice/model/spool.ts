import type { PortionCause } from "../../domain/report.ts";

/** What a feeder records: the fields of contract/report.ts, without the number and the time that the spool adds. */
export type NewSpoolEvent =
  | {
      readonly kind: "portion";
      readonly cause: PortionCause;
      readonly paysFor: number | null;
      readonly motorMs: number;
      readonly meanMilliamps: number;
      readonly peakMilliamps: number;
      readonly chuteCount: number | null;
      readonly lowestVolts: number;
    }
  | { readonly kind: "press"; readonly earns?: boolean }
  | {
      readonly kind: "deposit";
      readonly metal: boolean;
      readonly signal: number;
      readonly chute: boolean;
      readonly earns?: boolean;
    }
  | { readonly kind: "visit" }
  | { readonly kind: "lid"; readonly open: boolean }
  | { readonly kind: "refill"; readonly grams: number; readonly full: boolean }
  | {
      readonly kind: "order";
      readonly order: string;
      readonly outcome: "done" | "refused";
      readonly problem: string | null;
    }
  | { readonly kind: "trouble"; readonly words: string };

export type SpooledEvent = NewSpoolEvent & { readonly seq: number; readonly uptimeMs: number };
export interface SpoolEntry<Event = SpooledEvent> {
  readonly boot: string;
  readonly event: Event;
}

/**
 * The feeder's own store of events that the server hasn't confirmed. An event is removed only when the server has answered that
 * it is stored. It is bounded, like any memory on a feeder: above `spoolMax` the oldest is dropped, and the feeder reports how
 * many.
 */
export class Spool<Event extends { readonly seq: number } = SpooledEvent> {
  readonly #waiting: SpoolEntry<Event>[];
  #dropped = 0;

  constructor(entries: readonly SpoolEntry<Event>[]) {
    this.#waiting = [...entries];
  }

  get length(): number {
    return this.#waiting.length;
  }

  add(boot: string, event: Event): void {
    this.#waiting.push({ boot, event });
    if (this.#waiting.length > spoolMax) {
      this.#waiting.shift();
      this.#dropped++;
    }
  }

  /** The oldest events, all of one boot, at most `most`: a report is of one boot. Null while nothing waits. */
  oldest(most: number): { readonly boot: string; readonly events: readonly Event[] } | null {
    const boot = this.#waiting[0]?.boot;
    if (boot === undefined) return null;
    const events: Event[] = [];
    for (const spooled of this.#waiting) {
      if (spooled.boot !== boot || events.length === most) break;
      events.push(spooled.event);
    }
    return { boot, events };
  }

  forget(boot: string, storedThrough: number): void {
    const unsaved = this.#waiting.findIndex((spooled) => spooled.boot !== boot || spooled.event.seq > storedThrough);
    this.#waiting.splice(0, unsaved < 0 ? this.#waiting.length : unsaved);
  }

  /** How many events were dropped since the last call. */
  takeDropped(): number {
    const dropped = this.#dropped;
    this.#dropped = 0;
    return dropped;
  }

  all(): readonly SpoolEntry<Event>[] {
    return [...this.#waiting];
  }
}

/** Weeks of a lively yard, a season of a real one. */
export const spoolMax = 100_000;
