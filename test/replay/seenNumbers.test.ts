import { array, assert, integer, property } from "fast-check";
import { describe, expect, it } from "vitest";
import type { PostedEvent } from "../../server/contract/readReport.ts";
import { SeenNumbers } from "../../server/replay/seenNumbers.ts";

const visits = (...seqs: number[]) => seqs.map((seq) => ({ seq }) as PostedEvent);
const sorted = (seen: SeenNumbers, boot: string, ...seqs: number[]) =>
  seen.sort({ boot, events: visits(...seqs) }).newEvents.map(({ seq }) => seq);

describe("event numbers of a log", () => {
  it("are taken once, in their order, and for each boot by itself", () => {
    const seen = new SeenNumbers();
    expect(sorted(seen, "b-1", 2, 1, 2)).toEqual([1, 2]);
    expect(sorted(seen, "b-1", 2, 3)).toEqual([3]);
    expect(sorted(seen, "b-2", 2)).toEqual([2]);
    expect(seen.sort({ boot: "b-1", events: visits(1, 4) })).toMatchObject({ duplicates: 1 });
  });

  it("are also taken where they are late and fill a gap", () => {
    const seen = new SeenNumbers();
    expect(sorted(seen, "b-1", 5)).toEqual([5]);
    expect(sorted(seen, "b-1", 3)).toEqual([3]);
    expect(sorted(seen, "b-1", 1, 3, 4, 5, 6)).toEqual([1, 4, 6]);
    expect(sorted(seen, "b-1", 1, 2, 3, 4, 5, 6)).toEqual([2]);
  });

  it("are taken as by a list of all of them", () => {
    assert(
      property(array(array(integer({ min: 1, max: 30 }), { maxLength: 6 })), (reports) => {
        const [seen, all] = [new SeenNumbers(), new Set<number>()];
        for (const seqs of reports) {
          const expected = [...new Set(seqs)].filter((seq) => !all.has(seq)).sort((a, b) => a - b);
          expect(sorted(seen, "b-1", ...seqs)).toEqual(expected);
          for (const seq of seqs) all.add(seq);
        }
      }),
    );
  });

  it("cost no more memory the longer the log: the oldest gaps and the oldest boots are forgotten", () => {
    const seen = new SeenNumbers();
    for (let seq = 2; seq <= 2_000; seq += 2) sorted(seen, "b-1", seq);
    expect(sorted(seen, "b-1", 1_999, 3)).toEqual([1_999]); // 3 is taken as a repeat
    for (let boot = 2; boot < 400; boot += 1) sorted(seen, `b-${boot}`, 1);
    expect(sorted(seen, "b-399", 1)).toEqual([]);
    expect(sorted(seen, "b-1", 2)).toEqual([2]); // taken as new
  });
});
