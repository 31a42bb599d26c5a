import { expect } from "vitest";
import { minutes } from "../../../server/domain/instant.ts";
import type { PictureRow, Store } from "../../../server/ports.ts";
import { addAlder, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";
import { note } from "./trainingRules.ts";

const picture = (id: string, different: Partial<PictureRow> = {}): PictureRow => ({
  ...{ id, yard: "alder", note: "n", addedAt: now, by: "Alder", widthPixels: 1_600, heightPixels: 1_200, bytes: 300 },
  ...different,
});
const plenty = { pictures: 9, bytes: 9_000 };

async function addNotes(store: Store): Promise<void> {
  await addAlder(store);
  for (const id of ["n", "m"]) await store.training.addNote(note(id));
  await store.training.addNote(note("n", { yard: "other" }));
}

export const pictureRules: Rules = {
  "pictures of notes are read in the order in which they were added": async ({ store }) => {
    await addNotes(store);
    const { pictures } = store;
    const [first, second, third] = [
      picture("c"),
      picture("b", { addedAt: later(minutes(1)), note: "m" }),
      picture("a", { addedAt: later(minutes(1)) }),
    ];
    for (const each of [second, third, first]) expect(await pictures.addPicture(each, plenty)).toBe("added");
    await pictures.addPicture(picture("x", { yard: "other" }), plenty);
    expect(await pictures.picturesOf("alder", ["m", "n", "unknown"])).toEqual([first, third, second]);
    expect(await pictures.picturesOf("alder", ["m"])).toEqual([second]);
    expect(await pictures.picture("alder", "b")).toEqual(second);
    expect([await pictures.picture("other", "b"), await pictures.picture("alder", "x")]).toEqual([null, null]);
    expect(await pictures.allPictures()).toEqual([
      ...["a", "b", "c"].map((id) => ({ yard: "alder", id })),
      { yard: "other", id: "x" },
    ]);
  },

  "a picture with a known id, without its note or without space is not stored": async ({ store }) => {
    await addNotes(store);
    const { pictures } = store;
    expect(await pictures.usage("alder")).toEqual({ pictures: 0, bytes: 0 });
    await pictures.addPicture(picture("a"), plenty);
    expect(await pictures.addPicture(picture("a", { by: "Birch" }), plenty)).toBe("known");
    expect(await pictures.addPicture(picture("b", { note: "unknown" }), plenty)).toBe("noNote");
    expect(await pictures.addPicture(picture("b"), { pictures: 1, bytes: 9_000 })).toBe("full");
    expect(await pictures.addPicture(picture("b"), { pictures: 9, bytes: 599 })).toBe("full");
    expect(await pictures.picturesOf("alder", ["n"])).toEqual([picture("a")]);
    expect(await pictures.addPicture(picture("b"), { pictures: 2, bytes: 600 })).toBe("added");
    expect(await pictures.usage("alder")).toEqual({ pictures: 2, bytes: 600 });
    expect(await pictures.usage("other")).toEqual({ pictures: 0, bytes: 0 });
  },

  "the octets of a yard's pictures may be more than 2 GiB": async ({ store }) => {
    await addNotes(store);
    const large = 2 ** 31;
    for (const id of ["a", "b"])
      await store.pictures.addPicture(picture(id, { bytes: large }), { pictures: 9, bytes: 9 * large });
    expect(await store.pictures.usage("alder")).toEqual({ pictures: 2, bytes: 2 * large });
  },

  "a picture is removed alone, with its note, or with its yard": async ({ store }) => {
    await addNotes(store);
    const { pictures } = store;
    await pictures.addPicture(picture("a"), plenty);
    await pictures.addPicture(picture("b"), plenty);
    await pictures.addPicture(picture("c", { note: "m" }), plenty);
    await pictures.addPicture(picture("a", { yard: "other" }), plenty);
    expect(await pictures.removePicture("alder", "a")).toBe(true);
    expect(await pictures.removePicture("alder", "a")).toBe(false);
    expect(await pictures.allPictures()).toEqual([
      { yard: "alder", id: "b" },
      { yard: "alder", id: "c" },
      { yard: "other", id: "a" },
    ]);
    await store.training.removeNote("alder", "n");
    expect(await pictures.picturesOf("alder", ["n", "m"])).toEqual([picture("c", { note: "m" })]);
    await store.yards.removeYard("alder", null);
    expect(await pictures.allPictures()).toEqual([{ yard: "other", id: "a" }]);
  },
};
