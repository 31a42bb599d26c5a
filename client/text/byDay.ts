import { localDate } from "./clock.ts";

/** Lists of what has a moment, as the notebook and the pictures show them. */
interface Dated {
  readonly id: string;
  readonly at: string;
}

/** Each once, as `later` has it, the newest first. */
export function mergeByMoment<Entry extends Dated>(
  earlier: readonly Entry[],
  later: readonly Entry[],
): readonly Entry[] {
  const byId = new Map([...earlier, ...later].map((entry) => [entry.id, entry]));
  return [...byId.values()].sort((a, b) => Date.parse(b.at) - Date.parse(a.at));
}

/** By local date, in their order. */
export function daysOf<Entry extends Dated>(
  shown: readonly Entry[],
  zone: string,
): readonly (readonly [date: string, ofDay: readonly Entry[]])[] {
  const days = new Map<string, Entry[]>();
  for (const entry of shown) {
    const date = localDate(Date.parse(entry.at), zone);
    days.set(date, [...(days.get(date) ?? []), entry]);
  }
  return [...days];
}
