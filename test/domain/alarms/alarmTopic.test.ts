import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { alarmTopic, fnv1a64 } from "../../../server/domain/alarms/alarmTopic.ts";
import { faultKinds } from "../../../server/domain/faults.ts";

describe("a topic", () => {
  it("fits RFC 8030 section 5.4: at most 32 characters of base64url, whatever the feeder's id", () => {
    fc.assert(
      fc.property(fc.string({ maxLength: 40 }), fc.constantFrom(...faultKinds), (id, kind) => {
        expect(alarmTopic(id, kind)).toMatch(/^[A-Za-z0-9_-]{1,32}$/);
      }),
    );
  });

  it("differs between faults and between feeders of one long common beginning", () => {
    const ids = Array.from({ length: 1_000 }, (_, n) => `feeder-with-a-rather-long-identity-${n}`);
    const topics = ids.flatMap((id) => faultKinds.map((kind) => alarmTopic(id, kind)));
    expect(new Set(topics).size).toBe(topics.length);
  });

  it("follows the FNV-1a 64 test vectors (draft-eastlake-fnv, appendix: from memory)", () => {
    expect(fnv1a64("")).toBe("cbf29ce484222325");
    expect(fnv1a64("a")).toBe("af63dc4c8601ec8c");
    expect(fnv1a64("foobar")).toBe("85944171f73967e8");
  });
});
