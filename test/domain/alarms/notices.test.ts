import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { fnv1a64, noticeOf, topicOf } from "../../../server/domain/alarms/notices.ts";
import { faultKinds } from "../../../server/domain/faults.ts";
import { hours, instantOf } from "../../../server/domain/instant.ts";
import type { CallWord } from "../../../server/domain/telling/call.ts";

const fault = "trayJammed";
const at = instantOf("2026-12-01T06:00:00Z");
const said = { fault, at, title: "Rowan: tray jammed", body: "Nothing fell. Pause the feeder." } as const;
const raised: CallWord = { ...said, kind: "raised", priority: "urgent", sameEpisode: false };

describe("a notice", () => {
  it("says the word's own words under the alarm's own topic", () => {
    const { title, body } = said;
    const topic = topicOf("rowan", fault);
    expect(noticeOf({ id: "rowan" }, raised)).toEqual({
      ...{ fault, priority: "urgent", title, body, topic, timeToLive: hours(12), quiet: false },
    });
  });

  it("lives a day where it is to be acted on today", () => {
    expect(noticeOf({ id: "rowan" }, { ...raised, priority: "soon" })?.timeToLive).toBe(hours(24));
  });

  it("wakes nobody with good news, nor a second time within an episode, but does where it has grown graver", () => {
    expect(noticeOf({ id: "rowan" }, { ...said, kind: "returned" })?.quiet).toBe(true);
    expect(noticeOf({ id: "rowan" }, { ...raised, sameEpisode: true })?.quiet).toBe(true);
    const worse: CallWord = { ...said, kind: "worsened", priority: "urgent", raisedAt: at };
    expect(noticeOf({ id: "rowan" }, worse)?.quiet).toBe(false);
  });

  it("has the same topic when it is over as when it began", () => {
    expect(noticeOf({ id: "rowan" }, { ...said, kind: "returned" })?.topic).toBe(topicOf("rowan", fault));
  });

  it("is not made of an acknowledgement, nor of what was set aside", () => {
    expect(noticeOf({ id: "rowan" }, { kind: "acknowledged", fault, at, by: "Ada" })).toBeNull();
    expect(noticeOf({ id: "rowan" }, { kind: "setAside", fault, at, words: "Shelved by Ada." })).toBeNull();
  });
});

describe("a topic", () => {
  it("fits RFC 8030 section 5.4: at most 32 characters of base64url, whatever the feeder's id", () => {
    fc.assert(
      fc.property(fc.string({ maxLength: 40 }), fc.constantFrom(...faultKinds), (id, kind) => {
        expect(topicOf(id, kind)).toMatch(/^[A-Za-z0-9_-]{1,32}$/);
      }),
    );
  });

  it("differs between faults and between feeders of one long common beginning", () => {
    const ids = Array.from({ length: 1_000 }, (_, n) => `feeder-with-a-rather-long-identity-${n}`);
    const topics = ids.flatMap((id) => faultKinds.map((kind) => topicOf(id, kind)));
    expect(new Set(topics).size).toBe(topics.length);
  });

  it("follows the FNV-1a 64 test vectors (draft-eastlake-fnv, appendix: from memory)", () => {
    expect(fnv1a64("")).toBe("cbf29ce484222325");
    expect(fnv1a64("a")).toBe("af63dc4c8601ec8c");
    expect(fnv1a64("foobar")).toBe("85944171f73967e8");
  });
});
