import type { Story, WorldFault } from "../world.ts";
import { dayMs } from "./sky.ts";

const dirtDays = 7;

/** The planted fault of a story: it begins once and stays. */
export class Fault {
  readonly kind: WorldFault | null;
  readonly #begin: number;

  constructor({ fault }: Pick<Story, "fault">, storyBegin: number) {
    this.kind = fault?.kind ?? null;
    this.#begin = fault === null ? Number.POSITIVE_INFINITY : storyBegin + fault.at;
  }

  /** When it begins; null where none is planted. */
  get begin(): number | null {
    return this.kind === null ? null : this.#begin;
  }

  /** When it began; null while it hasn't. */
  since(at: number): number | null {
    return at >= this.#begin ? this.#begin : null;
  }

  is(kind: WorldFault, at: number): boolean {
    return this.kind === kind && at >= this.#begin;
  }

  /** How much of the chute's sight it leaves: dirt takes it within a week. */
  chuteSight(at: number): number {
    if (this.is("chuteBlind", at)) return 0;
    return this.is("chuteDirty", at) ? Math.max(0, 1 - (at - this.#begin) / (dirtDays * dayMs)) : 1;
  }
}
