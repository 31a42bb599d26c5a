import { expect } from "vitest";
import { type Instant, minutes } from "../../../server/domain/instant.ts";
import type { NoteRow, ProgrammeChangeRow } from "../../../server/ports.ts";
import { addAlder, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const change = (id: string, different: Partial<ProgrammeChangeRow> = {}): ProgrammeChangeRow => ({
  ...{ id, yard: "alder", at: now, by: "Alder", reason: "they come every day" },
  content: { kind: "stageStarted", stage: "pressForFood", changesPlans: true },
  plansBefore: [{ feeder: "rowan", feeding: null }],
  undone: null,
  ...different,
});

export const note = (id: string, different: Partial<NoteRow> = {}): NoteRow => ({
  ...{
    id,
    yard: "alder",
    at: now,
    by: "Alder",
    text: "a jay at the dish",
    feeder: "rowan",
    stage: null,
    changedAt: null,
    still: null,
    capsOnDish: null,
  },
  ...different,
});

export const trainingRules: Rules = {
  "changes of a programme are read in order of time": async ({ store }) => {
    await addAlder(store);
    const [first, second] = [change("b"), change("a", { at: later(minutes(1)), plansBefore: [] })];
    await store.transaction(async (tx) => {
      expect(await tx.saveProgrammeChange(second)).toBe(true);
      expect(await tx.saveProgrammeChange(first)).toBe(true);
    });
    await store.transaction((tx) => tx.saveProgrammeChange(change("c", { yard: "other" })));
    expect(await store.training.programmeChanges("alder")).toEqual([first, second]);
  },

  "a change with a known id is not stored again": async ({ store }) => {
    await addAlder(store);
    await store.transaction((tx) => tx.saveProgrammeChange(change("a")));
    expect(await store.transaction((tx) => tx.saveProgrammeChange(change("a", { reason: "again" })))).toBe(false);
    expect(await store.training.programmeChanges("alder")).toEqual([change("a")]);
  },

  "a change is undone once, and stays in the record": async ({ store }) => {
    await addAlder(store);
    const undone = { at: later(minutes(5)), by: "Birch" };
    await store.transaction((tx) => tx.saveProgrammeChange(change("a")));
    const undo = () => store.transaction((tx) => tx.undoProgrammeChange("alder", "a", undone));
    expect(await undo()).toEqual(change("a"));
    expect(await undo()).toBeNull();
    expect(await store.transaction((tx) => tx.undoProgrammeChange("other", "a", undone))).toBeNull();
    expect(await store.training.programmeChanges("alder")).toEqual([change("a", { undone })]);
  },

  "a removed yard leaves no change of its programme, and no note": async ({ store }) => {
    await addAlder(store);
    await store.transaction((tx) => tx.saveProgrammeChange(change("a")));
    await store.training.addNote(note("n"));
    await store.yards.removeYard("alder", null);
    expect(await store.training.programmeChanges("alder")).toEqual([]);
    expect(await store.training.notes("alder", later(minutes(9)), 9)).toEqual([]);
  },

  "notes are read from a moment backwards, at most so many": async ({ store }) => {
    await addAlder(store);
    const [first, second, third] = [
      note("c", { still: { id: "still-1", event: { boot: "b-1", seq: 4_294_967_295 } } }),
      note("b", { still: { id: "still-2", event: null }, at: later(minutes(1)) }),
      note("a", { at: later(minutes(2)) }),
    ];
    for (const each of [second, first, third]) expect(await store.training.addNote(each)).toBe(true);
    await store.training.addNote(note("x", { yard: "other" }));
    expect(await store.training.notes("alder", later(minutes(9)), 9)).toEqual([third, second, first]);
    expect(await store.training.notes("alder", third.at, 1)).toEqual([second]);
  },

  "counts of caps on the dish are read by span, in order of time, at most so many; a note may have none": async ({
    store,
  }) => {
    await addAlder(store);
    const { training } = store;
    await training.addNote(note("c", { at: later(minutes(2)), capsOnDish: 0 }));
    await training.addNote(note("b", { at: later(minutes(1)) }));
    await training.addNote(note("a", { capsOnDish: 3 }));
    await training.addNote(note("e", { at: later(minutes(5)), capsOnDish: 9 }));
    await training.addNote(note("x", { yard: "other", capsOnDish: 7 }));
    const within = { from: now, to: later(minutes(5)) };
    const [first, second] = [
      { at: now, caps: 3 },
      { at: later(minutes(2)), caps: 0 },
    ];
    expect(await training.capCounts("alder", within, 9)).toEqual([first, second]);
    expect(await training.capCounts("alder", within, 1)).toEqual([first]);
    expect((await training.notes("alder", later(minutes(9)), 9)).map(({ capsOnDish }) => capsOnDish)).toEqual([
      ...[9, 0, null, 3],
    ]);
  },

  "notes of the same moment are each on one page, whatever the size of the pages": async ({ store }) => {
    await addAlder(store);
    const all = [
      note("z", { at: later(minutes(1)) }),
      ...["a", "b", "c", "d"].map((id) => note(id)),
      note("old", { at: (now - 1) as Instant }),
    ];
    for (const each of [...all].reverse()) await store.training.addNote(each);
    for (const size of [1, 2, 3, 4]) {
      const read: NoteRow[] = [];
      for (let page = await store.training.notes("alder", later(minutes(9)), size); page.length > 0; ) {
        read.push(...page);
        page = await store.training.notes("alder", read.at(-1) as NoteRow, size);
      }
      expect(read).toEqual(all);
    }
  },

  "a note with a known id is not stored again; it can be changed and removed": async ({ store }) => {
    await addAlder(store);
    const { training } = store;
    await training.addNote(note("a"));
    expect(await training.addNote(note("a", { text: "again" }))).toBe(false);
    expect([await training.hasNote("alder", "a"), await training.hasNote("other", "a")]).toEqual([true, false]);
    const changes = { text: "two jays", changedAt: later(minutes(3)) };
    expect(await training.changeNote("alder", "a", changes)).toBe(true);
    expect(await training.changeNote("other", "a", changes)).toBe(false);
    expect(await training.notes("alder", later(minutes(9)), 9)).toEqual([{ ...note("a"), ...changes }]);
    expect(await training.removeNote("alder", "a")).toBe(true);
    expect(await training.removeNote("alder", "a")).toBe(false);
    expect(await training.notes("alder", later(minutes(9)), 9)).toEqual([]);
  },
};
