import type { DigestChannel, PersonView, Role } from "../../server/contract/api.ts";

/** Who is told, when and by what, in plain words. */

export const roleText: Readonly<Record<Role, { readonly name: string; readonly rights: string }>> = {
  keeper: { name: "keeper", rights: "May change everything here, and invite others." },
  helper: { name: "helper", rights: "Answers alarms, pauses and refills; changes no settings." },
};

export const newPassphraseHint =
  "At least 15 characters, without your name. A few words that only you would put together are easy to remember and hard to guess.";

export const digestChannelText: Readonly<Record<DigestChannel, string>> = {
  push: "on the phone",
  email: "by mail",
  both: "on the phone and by mail",
  none: "not at all",
};

/** "Left alone from 22:00 to 06:30, but for urgent alarms." */
export function quietHoursText({ quietHours, urgentBreaks }: Pick<PersonView, "quietHours" | "urgentBreaks">): string {
  if (quietHours === null || quietHours.from === quietHours.to) return "May be told at any hour.";
  return `Left alone from ${quietHours.from} to ${quietHours.to}, ${urgentBreaks ? "but for urgent alarms" : "also from urgent alarms"}.`;
}

export const durationText = (minutes: number) =>
  minutes === 60
    ? "an hour"
    : minutes % 60 === 0
      ? `${minutes / 60} hours`
      : minutes === 1
        ? "a minute"
        : `${minutes} minutes`;

/** How an urgent alarm goes from one to the next. */
export function escalationText(
  people: readonly Pick<PersonView, "name" | "escalationOrder">[],
  minutes: number,
): string {
  const first = people.filter(
    ({ escalationOrder }) => escalationOrder === Math.min(...people.map((each) => each.escalationOrder)),
  );
  const names = listText(first.map(({ name }) => name));
  if (first.length === people.length) return `An alarm goes to ${names}.`;
  return `An alarm goes to ${names} first. An urgent one that nobody acknowledges goes on to the next after ${durationText(minutes)}.`;
}

/** "Ada", "Ada and Bo", "Ada, Bo and Cilla" */
function listText(names: readonly string[]): string {
  if (names.length < 2) return names.join("");
  return `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
}

/**
 * Everybody's turn after one of them was moved by one place; whoever shares a turn with others gets one of their own.
 * @returns the new turn by id, of those alone whose turn has changed; empty where nobody could be moved that way
 */
export function movedEscalationOrder(
  people: readonly Pick<PersonView, "id" | "escalationOrder">[],
  id: string,
  to: "earlier" | "later",
): ReadonlyMap<string, number> {
  const turns = [...new Set(people.map(({ escalationOrder }) => escalationOrder))].sort((one, other) => one - other);
  const groups = turns.map((turn) => people.filter((each) => each.escalationOrder === turn).map((each) => each.id));
  const at = groups.findIndex((group) => group.includes(id));
  const rest = groups.map((group) => group.filter((each) => each !== id));
  const shared = (rest[at]?.length ?? 0) > 0;
  // Alone, they pass the neighbour's whole turn; from among others, they step out to this side of them.
  const place = to === "earlier" ? (shared ? at : at - 1) : shared ? at + 1 : at + 2;
  if (at < 0 || place < 0 || place > groups.length) return new Map();
  const moved = [...rest.slice(0, place), [id], ...rest.slice(place)].filter((group) => group.length > 0);
  const before = new Map(people.map((each) => [each.id, each.escalationOrder]));
  const now = moved.flatMap((group, index) => group.map((each) => [each, index + 1] as const));
  return new Map(now.filter(([each, turn]) => before.get(each) !== turn));
}

/** "together with Bo" */
export function sharedOrderText(person: PersonView, people: readonly PersonView[]): string {
  const others = people.filter((each) => each.escalationOrder === person.escalationOrder && each.id !== person.id);
  return others.length === 0 ? "" : `together with ${listText(others.map(({ name }) => name))}`;
}
