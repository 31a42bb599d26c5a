import type { HttpSession } from "./httpSession.ts";
import type { CheckedProperty } from "./properties.ts";

/** What is known of a property: the value that was confirmed, and the one that was requested without an answer. */
export class KillCheck {
  readonly property: CheckedProperty;
  confirmedActions = 0;
  #confirmed: string | null = null; // null: not known yet
  #requested: string | null = null;

  constructor(property: CheckedProperty) {
    this.property = property;
  }

  /** One action. @throws where the connection breaks. @returns what was answered wrongly, in a sentence */
  async act(session: HttpSession): Promise<string | null> {
    const { value, send } = this.property.next();
    this.#requested = value;
    const { status, text } = await send(session);
    this.#requested = null;
    if (status === 503 || status === 429) return null; // nothing was stored, and the keeper tries again
    if (status >= 300) return `${this.property.name}: ${value} was answered ${status} ${text}`;
    this.#confirmed = value;
    this.confirmedActions += 1;
    return null;
  }

  /** What is stored after a restart must be whole, and no older than what was confirmed. @returns what is wrong, in a sentence */
  async check(session: HttpSession): Promise<string | null> {
    const found = [...new Set(await this.property.read(session))];
    const allowed = [this.#confirmed, this.#requested].filter((value) => value !== null);
    const known = this.#confirmed !== null;
    const [requested, confirmed] = [this.#requested, this.#confirmed];
    [this.#confirmed, this.#requested] = [found[0] ?? null, null];
    if (found.length !== 1) return `${this.property.name}: half done, ${found.join(" and ")} (requested: ${requested})`;
    if (!known || allowed.includes(found[0] as string)) return null;
    return `${this.property.name}: ${confirmed} was confirmed and ${requested} requested, but ${found[0]} is stored`;
  }
}
