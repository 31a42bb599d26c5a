import { describe, expect, it } from "vitest";
import { before, days, hours, instantOf, minutes } from "../../../server/domain/instant.ts";
import { type PhoneContact, personReachability, phoneReachability } from "../../../server/domain/push/reachability.ts";

const now = instantOf("2026-11-25T12:00:00Z");
const phone = (signs: Partial<PhoneContact>): PhoneContact => {
  return { lastAcceptedAt: null, lastDisplayedAt: null, problem: null, blockedAt: null, ...signs };
};
const proved = phone({ lastDisplayedAt: before(now, hours(5)), lastAcceptedAt: before(now, hours(5)) });
const lost = phone({ problem: "HTTP 403", lastDisplayedAt: before(now, hours(1)) });

describe("a phone", () => {
  it("is confirmed for three days by a display receipt, whatever its push service accepted since", () => {
    expect(phoneReachability(proved, now)).toEqual({ kind: "confirmed", text: "Showed a notification 5 hours ago." });
    expect(phoneReachability({ ...proved, lastAcceptedAt: before(now, minutes(1)) }, now).kind).toBe("confirmed");
    expect(phoneReachability(phone({ lastDisplayedAt: before(now, (days(3) - 1) as never) }), now).kind).toBe(
      "confirmed",
    );
    expect(phoneReachability(phone({ lastDisplayedAt: before(now, days(3)) }), now).kind).toBe("unconfirmed");
  });

  it("is not confirmed while only its push service has accepted a notification", () => {
    expect(phoneReachability(phone({ lastAcceptedAt: before(now, hours(2)) }), now)).toEqual({
      kind: "unconfirmed",
      text: "Never showed a notification (last sent 2 hours ago). Send a test.",
    });
    const long = phone({ lastDisplayedAt: before(now, days(9)), lastAcceptedAt: before(now, days(1)) });
    expect(phoneReachability(long, now).text).toBe(
      "Last showed a notification 9 days ago (last sent 24 hours ago). Send a test.",
    );
    const idle = phone({ lastDisplayedAt: before(now, days(9)), lastAcceptedAt: before(now, days(10)) });
    expect(phoneReachability(idle, now).text).toBe("Last showed a notification 9 days ago. Send a test.");
    expect(phoneReachability(phone({}), now).text).toBe("Never showed a notification. Send a test.");
  });

  it("is lost while its push service refuses it, also where it showed one an hour ago", () => {
    expect(phoneReachability(lost, now)).toEqual({ kind: "lost", text: "Can't deliver now: HTTP 403" });
  });
});

describe("a person", () => {
  it("is reached as well as by the best of their phones", () => {
    expect(personReachability([lost, phone({}), proved], false, now).kind).toBe("confirmed");
    expect(personReachability([lost, phone({})], false, now).kind).toBe("unconfirmed");
    expect(personReachability([lost], false, now).kind).toBe("lost");
  });

  it("is neither unreachable nor confirmed with e-mail: there is no receipt for an e-mail", () => {
    expect(personReachability([], true, now)).toEqual({
      kind: "unconfirmed",
      text: "No phone has notifications on. E-mail is on.",
    });
    expect(personReachability([lost], true, now).kind).toBe("unconfirmed");
    expect(personReachability([], false, now)).toEqual({
      kind: "lost",
      text: "No phone has notifications on. No e-mail address.",
    });
  });
});
