import type { HttpSession } from "./httpSession.ts";
import type { CheckedProperty } from "./properties.ts";

/** What is known of a property: the value that was confirmed, and what was asked for without an answer. */
export class KillCheck {
  readonly property: CheckedProperty;
  confirmedActs = 0;
  #confirmed: string | null = null; // null: not known yet
  #asked: string | null = null;

  constructor(property: CheckedProperty) {
    this.property = property;
  }

  /** One act. @throws where the connection breaks. @returns what was answered wrongly, in a sentence */
  async act(visit: HttpSession): Promise<string | null> {
    const { value, send } = this.property.next();
    this.#asked = value;
    const { status, text } = await send(visit);
    this.#asked = null;
    if (status === 503 || status === 429) return null; // nothing was stored, and the keeper tries again
    if (status >= 300) return `${this.property.name}: ${value} was answered ${status} ${text}`;
    this.#confirmed = value;
    this.confirmedActs += 1;
    return null;
  }

  /** What stands after a restart: whole, and no older than what was confirmed. */
  async check(visit: HttpSession): Promise<string | null> {
    const found = [...new Set(await this.property.read(visit))];
    const allowed = [this.#confirmed, this.#asked].filter((value) => value !== null);
    const known = this.#confirmed !== null;
    const [asked, confirmed] = [this.#asked, this.#confirmed];
    [this.#confirmed, this.#asked] = [found[0] ?? null, null];
    if (found.length !== 1) return `${this.property.name}: done by half, ${found.join(" beside ")} (asked: ${asked})`;
    if (!known || allowed.includes(found[0] as string)) return null;
    return `${this.property.name}: ${confirmed} was confirmed and ${asked} asked for, but ${found[0]} stands`;
  }
}
