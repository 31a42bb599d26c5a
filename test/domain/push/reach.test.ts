import { describe, expect, it } from "vitest";
import { before, days, hours, instantOf, minutes } from "../../../server/domain/instant.ts";
import { type PhoneSigns, reachOf, reachOfPerson } from "../../../server/domain/push/reach.ts";

const now = instantOf("2026-11-25T12:00:00Z");
const phone = (signs: Partial<PhoneSigns>): PhoneSigns => {
  return { lastAcceptedAt: null, lastShownAt: null, problem: null, blockedAt: null, ...signs };
};
const proved = phone({ lastShownAt: before(now, hours(5)), lastAcceptedAt: before(now, hours(5)) });
const lost = phone({ problem: "HTTP 403", lastShownAt: before(now, hours(1)) });

describe("a phone", () => {
  it("is proved for three days by having shown a notice, whatever its push service took since", () => {
    expect(reachOf(proved, now)).toEqual({ kind: "proved", words: "It showed a notice 5 hours ago." });
    expect(reachOf({ ...proved, lastAcceptedAt: before(now, minutes(1)) }, now).kind).toBe("proved");
    expect(reachOf(phone({ lastShownAt: before(now, (days(3) - 1) as never) }), now).kind).toBe("proved");
    expect(reachOf(phone({ lastShownAt: before(now, days(3)) }), now).kind).toBe("unproved");
  });

  it("is unproved while only its push service says that it took a notice", () => {
    expect(reachOf(phone({ lastAcceptedAt: before(now, hours(2)) }), now)).toEqual({
      kind: "unproved",
      words: "It has never shown a notice, though its push service took one 2 hours ago. Send it a test.",
    });
    const long = phone({ lastShownAt: before(now, days(9)), lastAcceptedAt: before(now, days(1)) });
    expect(reachOf(long, now).words).toBe(
      "It last showed a notice 9 days ago, though its push service took one 24 hours ago. Send it a test.",
    );
    const idle = phone({ lastShownAt: before(now, days(9)), lastAcceptedAt: before(now, days(10)) });
    expect(reachOf(idle, now).words).toBe("It last showed a notice 9 days ago. Send it a test.");
    expect(reachOf(phone({}), now).words).toBe("It has never shown a notice. Send it a test.");
  });

  it("is lost while its push service refuses it, also where it showed one an hour ago", () => {
    expect(reachOf(lost, now)).toEqual({ kind: "lost", words: "It can't be told just now: HTTP 403" });
  });
});

describe("a person", () => {
  it("is reached as well as by the best of their phones", () => {
    expect(reachOfPerson([lost, phone({}), proved], false, now).kind).toBe("proved");
    expect(reachOfPerson([lost, phone({})], false, now).kind).toBe("unproved");
    expect(reachOfPerson([lost], false, now).kind).toBe("lost");
  });

  it("is not lost who has mail, nor proved: nobody tells us of a letter that was read", () => {
    expect(reachOfPerson([], true, now)).toEqual({ kind: "unproved", words: "No phone is told. Letters go by mail." });
    expect(reachOfPerson([lost], true, now).kind).toBe("unproved");
    expect(reachOfPerson([], false, now)).toEqual({
      kind: "lost",
      words: "No phone is told. Nor is there a mail address.",
    });
  });
});
