import { array, assert, integer, property } from "fast-check";
import { describe, expect, it } from "vitest";
import { rangesOf, readRanges, textOfRanges } from "../../server/domain/seqRanges.ts";

describe("numbers of events as ranges", () => {
  it("are short where they follow one another", () => {
    expect(textOfRanges(rangesOf([3, 4, 5, 6, 7, 9]))).toBe("3-7 9");
    expect(textOfRanges(rangesOf([]))).toBe("");
  });

  it("are read back completely", () => {
    assert(
      property(array(integer({ min: 1, max: 60 })), (some) => {
        const seqs = [...new Set(some)].sort((a, b) => a - b);
        const ranges = readRanges(textOfRanges(rangesOf(seqs)));
        const numbers = ranges.flatMap(({ from, to }) =>
          Array.from({ length: to - from + 1 }, (_, index) => from + index),
        );
        expect(numbers).toEqual(seqs);
      }),
    );
  });
});
