import * as text from "#text/people.ts";
import type { PersonView } from "../../server/contract/api.ts";
import { listText } from "./format.ts";

export { newPassphraseHint } from "#text/people.ts";

/** Who is notified, when and by which channel. */

/** "Quiet hours 22:00 to 06:30, except urgent alarms." */
export function quietHoursText({ quietHours, urgentBreaks }: Pick<PersonView, "quietHours" | "urgentBreaks">): string {
  if (quietHours === null || quietHours.from === quietHours.to) return text.noQuietHoursText;
  const { from, to } = quietHours;
  return urgentBreaks ? text.quietHoursText(from, to) : text.quietHoursForAllText(from, to);
}

export const durationText = (minutes: number) =>
  minutes > 0 && minutes % 60 === 0 ? text.hoursText(minutes / 60) : text.minutesText(minutes);

/** How an urgent alarm goes from one person to the next. */
export function escalationText(
  people: readonly Pick<PersonView, "name" | "escalationOrder">[],
  minutes: number,
): string {
  const firstOrder = Math.min(...people.map(({ escalationOrder }) => escalationOrder));
  const first = people.filter(({ escalationOrder }) => escalationOrder === firstOrder);
  const names = listText(first.map(({ name }) => name));
  return first.length === people.length
    ? text.allNotifiedText(names, first.length)
    : text.firstNotifiedText(names, first.length, durationText(minutes));
}

/**
 * The order of all people after one of them was moved by one place; a person who shared a place with others gets one alone.
 * @returns the new order by id, only of those whose order changes; empty where the move is not possible
 */
export function movedEscalationOrder(
  people: readonly Pick<PersonView, "id" | "escalationOrder">[],
  id: string,
  to: "earlier" | "later",
): ReadonlyMap<string, number> {
  const orders = [...new Set(people.map(({ escalationOrder }) => escalationOrder))].sort((one, other) => one - other);
  const groups = orders.map((order) => people.filter((each) => each.escalationOrder === order).map((each) => each.id));
  const at = groups.findIndex((group) => group.includes(id));
  const rest = groups.map((group) => group.filter((each) => each !== id));
  const shared = (rest[at]?.length ?? 0) > 0;
  // Alone, a person passes the neighbours' whole place; from a shared place, the person leaves to this side of it.
  const place = to === "earlier" ? (shared ? at : at - 1) : shared ? at + 1 : at + 2;
  if (at < 0 || place < 0 || place > groups.length) return new Map();
  const moved = [...rest.slice(0, place), [id], ...rest.slice(place)].filter((group) => group.length > 0);
  const before = new Map(people.map((each) => [each.id, each.escalationOrder]));
  const now = moved.flatMap((group, index) => group.map((each) => [each, index + 1] as const));
  return new Map(now.filter(([each, order]) => before.get(each) !== order));
}

/** "at the same time as Bo"; empty where a person shares the place with nobody. */
export function sharedOrderText(person: PersonView, people: readonly PersonView[]): string {
  const others = people.filter((each) => each.escalationOrder === person.escalationOrder && each.id !== person.id);
  return others.length === 0 ? "" : text.sharedOrderText(listText(others.map(({ name }) => name)));
}
