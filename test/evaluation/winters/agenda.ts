import type { Instant } from "../../../server/domain/instant.ts";

/** What is to happen later, in the order of its time; of one time, in the order in which it was planned. */
export class Agenda {
  readonly #planned: { readonly at: Instant; readonly act: (at: Instant) => void }[] = [];

  plan(at: Instant, act: (at: Instant) => void): void {
    let place = this.#planned.length; // most are planned near the end, or soon
    while (place > 0 && (this.#planned[place - 1]?.at ?? at) > at) place -= 1;
    this.#planned.splice(place, 0, { at, act });
  }

  get nextAt(): Instant | null {
    return this.#planned[0]?.at ?? null;
  }

  /** Does the next one at its time, or now where it is late. */
  next(now: Instant): void {
    this.#planned.shift()?.act(now);
  }
}
