import { describe, expect, it } from "vitest";
import { days, hours, instantOf, minutes, after as past, seconds } from "../../../server/domain/instant.ts";
import {
  type DeliveryCandidate,
  type DeliveryCapacity,
  fairShare,
  rankOf,
  serviceOfEndpoint,
  unlimitedCapacity,
} from "../../../server/domain/push/fairShare.ts";
import type { PushOutcome } from "../../../server/domain/push/outcome.ts";
import { pageAddress, pushPayload } from "../../../server/domain/push/payload.ts";
import { expiryOf } from "../../../server/domain/push/pushOptions.ts";
import { personReachability, phoneReachability } from "../../../server/domain/push/reachability.ts";
import { retryAfter, settlementOf } from "../../../server/domain/push/retry.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";

const now = instantOf("2026-11-25T12:00:00Z");

describe("the order of deliveries", () => {
  const due = (person: string, service: string, rank: DeliveryCandidate["rank"] = 1): DeliveryCandidate => ({
    ...{ person, service, rank },
  });
  const placesOf = (waiting: readonly DeliveryCandidate[], different: Partial<DeliveryCapacity> = {}, most = 9) =>
    fairShare(waiting, { ...unlimitedCapacity, ...different }, most).map((each) => waiting.indexOf(each));

  it("is by urgency first, whoever has more under way", () => {
    const underWay = [due("ada", "a"), due("ada", "a")];
    expect(placesOf([due("bo", "b", 2), due("bo", "b", 1), due("ada", "a", 0)], { underWay })).toEqual([2, 1, 0]);
  });

  it("is, of one urgency, by the person with the fewest deliveries under way, whichever waits longer", () => {
    expect(placesOf([due("ada", "a"), due("bo", "b")], { underWay: [due("ada", "c")] })).toEqual([1, 0]);
    expect(placesOf([due("ada", "a"), due("ada", "b"), due("bo", "a")])).toEqual([0, 2, 1]);
  });

  it("is, for one person, by the service with the fewest deliveries under way", () => {
    expect(placesOf([due("ada", "a"), due("ada", "b")], { underWay: [due("bo", "a")] })).toEqual([1, 0]);
  });

  it("is, where all that is equal, by the time that each has waited", () => {
    expect(placesOf([due("ada", "a"), due("bo", "b"), due("cilla", "c")])).toEqual([0, 1, 2]);
  });

  it("has no limit but the number asked for where none is set", () => {
    const waiting = Array.from({ length: 40 }, () => due("ada", "a"));
    expect(placesOf(waiting, {}, 30)).toHaveLength(30);
    expect(placesOf(waiting, {}, 99)).toHaveLength(40);
    expect(placesOf(waiting, { answering: new Set(["a"]) }, 99)).toHaveLength(40);
    expect(placesOf(waiting, {}, 0)).toEqual([]);
  });

  it("puts notes and closing notifications last, and `soon` between", () => {
    expect(rankOf({ priority: "urgent" })).toBe(0);
    expect(rankOf({ priority: "soon" })).toBe(1);
    expect(rankOf({ priority: "note" })).toBe(2);
    expect(rankOf({ priority: "soon", isClosing: true })).toBe(2);
  });

  it("knows a push service by its origin (RFC 6454), and an address that is none by itself", () => {
    expect(serviceOfEndpoint("https://push.example:8443/send/abc?d=1")).toBe("https://push.example:8443");
    expect(serviceOfEndpoint("not an address")).toBe("not an address");
  });
});

describe("an attempt without an answer", () => {
  const unanswered: PushOutcome = { kind: "tryLater", notBefore: null, text: "no answer", mayHaveArrived: true };
  const attempt = { attempts: 0, writtenAt: now, timeToLive: hours(1), jitter: 0 };

  it("may have arrived, which is stored with the next attempt and with the end of them", () => {
    expect(settlementOf(unanswered, attempt, now)).toMatchObject({ kind: "retry", mayHaveArrived: true });
    expect(settlementOf(unanswered, attempt, past(now, hours(1)))).toMatchObject({
      ...{ kind: "givenUp", mayHaveArrived: true },
    });
  });

  it("is only claimed to have arrived where the whole message was sent", () => {
    const refusedNow: PushOutcome = { kind: "tryLater", notBefore: null, text: "HTTP 503" };
    expect(settlementOf(refusedNow, attempt, now)).not.toHaveProperty("mayHaveArrived");
    expect(settlementOf(refusedNow, attempt, past(now, hours(1)))).not.toHaveProperty("mayHaveArrived");
  });

  it("is tried again after the time that the service asked for, spread by up to 15 seconds", () => {
    const busy: PushOutcome = { kind: "tryLater", notBefore: past(now, minutes(20)), text: "HTTP 429" };
    const notBefore = (jitter: number) => {
      const settlement = settlementOf(busy, { ...attempt, jitter }, now);
      return settlement.kind === "retry" ? settlement.notBefore : null;
    };
    expect([0, 0.5, 1].map(notBefore)).toEqual([0, 7.5, 15].map((more) => past(past(now, minutes(20)), seconds(more))));
  });
});

describe("Retry-After", () => {
  it("is nothing where more than one date, or more than a date, is given", () => {
    const date = "Sun, 06 Nov 1994 08:49:37 GMT";
    for (const text of [`${date} x`, `x ${date}`, "12 34", "9999999999", "x12", "12x"])
      expect(retryAfter(text, now), text).toBeNull();
    expect(retryAfter("999999999", now)).toBe(past(now, seconds(999_999_999)));
    expect(retryAfter(` ${date} `, now)).not.toBeNull();
  });
});

describe("the reachability of a phone", () => {
  const phone = { lastAcceptedAt: null, lastDisplayedAt: null, problem: null, blockedAt: null };

  it("is lost where its browser blocks notifications, whatever its push service answers", () => {
    const blocked = { ...phone, blockedAt: now, problem: "HTTP 403", lastDisplayedAt: now };
    expect(phoneReachability(blocked, now)).toEqual({
      kind: "lost",
      text: "Notifications are blocked in its browser.",
    });
  });

  it("awaits no receipt for a notification that was displayed at the moment it was accepted", () => {
    const at = past(now, days(-9));
    expect(phoneReachability({ ...phone, lastAcceptedAt: at, lastDisplayedAt: at }, now).text).toBe(
      "Last showed a notification 9 days ago. Send a test.",
    );
  });

  it("counts its last minute as just now", () => {
    const text = (ago: number) => phoneReachability({ ...phone, lastDisplayedAt: past(now, seconds(-ago)) }, now).text;
    expect(text(0)).toBe("Showed a notification just now.");
    expect(text(59)).toBe("Showed a notification just now.");
    expect(text(60)).toBe("Showed a notification 1 minute ago.");
  });

  it("of a person is that of their phones, then of their e-mail", () => {
    const recent = { ...phone, lastDisplayedAt: now };
    const lost = { ...phone, problem: "HTTP 410" };
    expect(personReachability([recent], true, now).text).toBe("A phone showed a notification recently.");
    expect(personReachability([phone], false, now).text).toBe("No phone showed a notification recently.");
    expect(personReachability([phone], true, now).text).toBe("No phone showed a notification recently. E-mail is on.");
    expect(personReachability([lost], true, now).text).toBe("No phone can be reached now. E-mail is on.");
    expect(personReachability([lost], false, now).text).toBe("No phone can be reached now. No e-mail address.");
  });
});

describe("a push", () => {
  it("leads to the page of its own link where it has one", () => {
    expect(pageAddress("f1", "https://pieward.example", "/digest?day=2")).toBe("https://pieward.example/digest?day=2");
    expect(pageAddress("f1", null, "/digest")).toBe("/digest");
    expect(pushPayload(notificationFixture({ link: "/digest" }), "f1").notification.navigate).toBe("/digest");
  });

  it("keeps the path of a public address, with or without a slash at its end", () => {
    for (const address of ["https://home.example/pieward", "https://home.example/pieward/"])
      expect(pageAddress("f1", address)).toBe("https://home.example/pieward/feeders/f1");
  });

  it("loses its whole body where not even an ellipsis has space", () => {
    const octets = (feeder: string) =>
      Buffer.byteLength(JSON.stringify(pushPayload(notificationFixture({ body: "" }), feeder)), "utf8");
    // The id is in the frame twice: as the page and as the feeder.
    const free = (3_993 - octets("")) % 2;
    const feeder = "f".repeat((3_993 - octets("") - free) / 2);
    expect(pushPayload(notificationFixture({ body: "Tray jammed" }), feeder).notification.body).toBe("");
  });

  it("expires when its time to live is over", () => {
    expect(expiryOf(now, hours(12))).toBe(past(now, hours(12)));
  });
});
