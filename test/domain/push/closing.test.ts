import { describe, expect, it } from "vitest";
import { type EarlierNotification, needsClosing, needsSound } from "../../../server/domain/push/closing.ts";

/** Newest last, as they were written: `A` an alarm with a sound, `q` a quiet correction, `C` closing; small dot: never arrived. */
const meant = (story: string): EarlierNotification[] =>
  story
    .split(" ")
    .filter((word) => word !== "")
    .map((word) => ({ isClosing: word.startsWith("C"), silent: !word.startsWith("A"), arrived: !word.endsWith(".") }))
    .reverse();

describe("a closing notification", () => {
  it.each(["A", "A A", "A. A", "A q", "q", "A A.", "A C", "A C C", "A C A", "A A. A.", "A C C."])(
    "is sent after `%s`: something stands there, or what closed it has news",
    (story) => expect(needsClosing(meant(story))).toBe(true),
  );

  it.each(["", "A.", "A. A.", "q.", "A C A.", "C.", "A. C.", "A C A. C."])(
    "is needless after `%s`: nothing of it ever stood there",
    (story) => expect(needsClosing(meant(story))).toBe(false),
  );
});

describe("a quiet correction", () => {
  it.each(["A.", "A. q.", "A. A.", "A A.", "A C A.", "A. q. q."])(
    "sounds after `%s`: the one with the sound never arrived",
    (story) => expect(needsSound(meant(story))).toBe(true),
  );

  it.each(["", "A", "A q.", "q.", "A. A", "A. q", "A C", "A. C."])("keeps quiet after `%s`", (story) =>
    expect(needsSound(meant(story))).toBe(false),
  );
});
