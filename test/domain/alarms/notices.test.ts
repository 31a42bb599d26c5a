import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { fnv1a64, noticeOf, topicOf } from "../../../server/domain/alarms/notices.ts";
import type { AlarmChange } from "../../../server/domain/facts.ts";
import { faultKinds, ruleOf } from "../../../server/domain/faults.ts";
import { hours, instantOf } from "../../../server/domain/instant.ts";

const rowan = { id: "rowan", settings: { name: "Rowan", practice: false } };
const raise: AlarmChange = {
  fault: "trayJammed",
  priority: "urgent",
  from: "normal",
  to: "unacknowledged",
  at: instantOf("2026-12-01T06:00:00Z"),
  reason: "Three portions ran and nothing fell.",
};

describe("a notice", () => {
  it("says what is wrong, by what sign, and what to do", () => {
    expect(noticeOf(rowan, raise, null)).toEqual({
      fault: "trayJammed",
      priority: "urgent",
      title: "Rowan: tray jammed",
      body: `Three portions ran and nothing fell. ${ruleOf("trayJammed").act}`,
      topic: topicOf("rowan", "trayJammed"),
      timeToLive: hours(12),
      quiet: false,
    });
  });

  it("marks a practice feeder as one", () => {
    const practice = { id: "p", settings: { name: "Larch", practice: true } };
    expect(noticeOf(practice, raise, null)?.title).toBe("Practice – Larch: tray jammed");
  });

  it("lives a day where it is to be acted on today, and is not sent for a note", () => {
    expect(noticeOf(rowan, { ...raise, priority: "soon" }, null)?.timeToLive).toBe(hours(24));
    expect(noticeOf(rowan, { ...raise, priority: "note" }, null)).toBeNull();
  });

  it("stays within 400 characters, and cuts the reason before the advice", () => {
    for (const fault of faultKinds) {
      const body = noticeOf(rowan, { ...raise, fault, reason: "word ".repeat(200) }, null)?.body ?? "";
      expect(body.length).toBeLessThanOrEqual(400);
      expect(body.endsWith(ruleOf(fault).act)).toBe(true);
    }
  });

  it("has the same topic when it is over as when it began", () => {
    const over = noticeOf(rowan, { ...raise, from: "unacknowledged", to: "returnedUnacknowledged" }, null);
    expect(over).toMatchObject({ topic: topicOf("rowan", "trayJammed"), quiet: true, title: "Rowan: back to normal" });
  });

  it("is not made for shelving, suppressing or acknowledging", () => {
    for (const to of ["shelved", "suppressedByDesign", "acknowledged"] as const) {
      expect(noticeOf(rowan, { ...raise, from: "unacknowledged", to }, null)).toBeNull();
    }
  });
});

describe("a topic", () => {
  it("fits RFC 8030 section 5.4: at most 32 characters of base64url, whatever the feeder's id", () => {
    fc.assert(
      fc.property(fc.string({ maxLength: 40 }), fc.constantFrom(...faultKinds), (id, fault) => {
        expect(topicOf(id, fault)).toMatch(/^[A-Za-z0-9_-]{1,32}$/);
      }),
    );
  });

  it("differs between faults and between feeders of one long common beginning", () => {
    const ids = Array.from({ length: 1_000 }, (_, n) => `feeder-with-a-rather-long-identity-${n}`);
    const topics = ids.flatMap((id) => faultKinds.map((fault) => topicOf(id, fault)));
    expect(new Set(topics).size).toBe(topics.length);
  });

  it("follows the FNV-1a 64 test vectors (draft-eastlake-fnv, appendix: from memory)", () => {
    expect(fnv1a64("")).toBe("cbf29ce484222325");
    expect(fnv1a64("a")).toBe("af63dc4c8601ec8c");
    expect(fnv1a64("foobar")).toBe("85944171f73967e8");
  });
});
