import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { textOf } from "../../../server/adapters/store/rows.ts";
import type { Instant } from "../../../server/domain/instant.ts";

describe("a time in the database", () => {
  it("is ISO 8601 text as Date writes it, with +00:00 as Prisma writes it", () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 4e12 }), { minLength: 2 }), (times) => {
        for (const at of times) {
          expect(textOf(at as Instant)).toBe(`${new Date(at).toISOString().slice(0, -1)}+00:00`);
        }
      }),
    );
  });

  it.each([0, 1, 59_999, 60_000, 1_795_599_675_009, 1_795_599_659_999])(
    "holds at %d ms, where fields roll over",
    (at) => {
      expect(textOf(at as Instant)).toBe(`${new Date(at).toISOString().slice(0, -1)}+00:00`);
    },
  );
});
