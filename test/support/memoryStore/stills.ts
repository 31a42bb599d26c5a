import { hasSpace, type PictureUsage } from "../../../server/domain/pictures/pictureSpace.ts";
import type { LabelledStills, StillRow, StillStore } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { comesAfter, keyOf, rowsWhere, type Tables } from "./tables.ts";

const inOrder = (a: string, b: string) => (a < b ? -1 : 1);
const oldestFirst = (a: StillRow, b: StillRow) => a.addedAt - b.addedAt || inOrder(a.id, b.id);
const stillKey = ({ yard, id }: Pick<StillRow, "yard" | "id">) => keyOf(yard, id);

export const createStills = (access: Access): StillStore => ({ ...reads(access), ...changes(access) });

type Change = "addStill" | "changeStill" | "saveEvent" | "removeStill" | "removeOldStills";

const reads = ({ read }: Access): Omit<StillStore, Change> => ({
  async stills(yard, before, most) {
    const found = rowsWhere(read().stills, (still) => still.yard === yard && comesAfter(still, before));
    return found.sort((a, b) => b.at - a.at || inOrder(a.id, b.id)).slice(0, most);
  },
  still: async (yard, id) => read().stills.get(keyOf(yard, id)) ?? null,
  stillsById: async (yard, ids) => ids.flatMap((id) => read().stills.get(keyOf(yard, id)) ?? []),
  countOf: async (feeder, after) =>
    rowsWhere(read().stills, (still) => still.feeder === feeder && still.addedAt > after).length,
  usage: async (yard) => usageOf(read(), yard),
  async labels(yard) {
    const found = new Map<string, LabelledStills>();
    for (const { who, brought } of rowsWhere(read().stills, (still) => still.yard === yard)) {
      const key = JSON.stringify([who, brought]);
      found.set(key, { who, brought, stills: (found.get(key)?.stills ?? 0) + 1 });
    }
    const inTurn = (a: string | null, b: string | null) => ((a ?? "") < (b ?? "") ? -1 : 1);
    return [...found.values()].sort((a, b) => (a.who === b.who ? inTurn(a.brought, b.brought) : inTurn(a.who, b.who)));
  },
  async openStills(after, most) {
    const found = rowsWhere(read().stills, (still) => still.addedAt > after && isOpen(still));
    return found.sort((a, b) => b.addedAt - a.addedAt || inOrder(a.id, b.id)).slice(0, most);
  },
  async allStills() {
    const found = [...read().stills.values()].map(({ yard, id, feeder }) => ({ yard, id, feeder }));
    return found.sort((a, b) => inOrder(stillKey(a), stillKey(b)));
  },
});

const isOpen = ({ event, eventKind, payment }: StillRow): boolean =>
  eventKind === null ? event !== null : eventKind === "deposit" && (payment === null || payment === "unpaid");

const changes = ({ write }: Access): Pick<StillStore, Change> => ({
  addStill: (still, most) =>
    write((tables) => {
      if (tables.stills.has(stillKey(still))) return { kind: "known" };
      if (tables.feeders.get(still.feeder)?.yard !== still.yard) return { kind: "noFeeder" };
      const removed = oldestToRemove(tables, still, most);
      if (removed === null) return { kind: "full" };
      for (const id of removed) tables.stills.delete(keyOf(still.yard, id));
      tables.stills.set(stillKey(still), still);
      return { kind: "added", removed };
    }),
  changeStill: (yard, id, to) => write((tables) => change(tables, keyOf(yard, id), to)),
  saveEvent: (yard, id, event) => write((tables) => void change(tables, keyOf(yard, id), event)),
  removeStill: (yard, id) => write(({ stills }) => stills.delete(keyOf(yard, id))),
  removeOldStills: (yard, before, most) =>
    write(({ stills }) => {
      const old = rowsWhere(stills, (still) => still.yard === yard && still.addedAt < before && !still.starred);
      const removed = old.sort(oldestFirst).slice(0, most);
      for (const still of removed) stills.delete(stillKey(still));
      return removed.map(({ id }) => id);
    }),
});

function change({ stills }: Tables, key: string, to: Partial<StillRow>): boolean {
  const found = stills.get(key);
  if (found !== undefined) stills.set(key, { ...found, ...to });
  return found !== undefined;
}

function oldestToRemove(tables: Tables, { yard, bytes }: StillRow, most: PictureUsage): readonly string[] | null {
  let used = usageOf(tables, yard);
  const removed: string[] = [];
  const oldest = rowsWhere(tables.stills, (still) => still.yard === yard && !still.starred).sort(oldestFirst);
  while (!hasSpace(used, bytes, most)) {
    const next = oldest[removed.length];
    if (next === undefined) return null;
    used = { pictures: used.pictures - 1, bytes: used.bytes - next.bytes };
    removed.push(next.id);
  }
  return removed;
}

function usageOf({ stills }: Tables, yard: string): PictureUsage {
  const found = rowsWhere(stills, (still) => still.yard === yard);
  return { pictures: found.length, bytes: found.reduce((sum, { bytes }) => sum + bytes, 0) };
}
