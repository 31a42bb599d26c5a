import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { instantOf } from "../../../server/domain/instant.ts";
import { payloadOctetsMax, pushPayload } from "../../../server/domain/push/payload.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";

const octetsOf = (value: unknown) => Buffer.byteLength(JSON.stringify(value), "utf8");

describe("a push payload", () => {
  it("is a declarative push message that leads to the feeder", () => {
    // Member names: W3C Push API, "declarative push message" (web_push, notification; title, navigate, body, tag, …).
    expect(pushPayload(notificationFixture(), "f1", "https://pieward.example")).toEqual({
      web_push: 8030,
      mutable: true,
      notification: {
        title: "Rowan: food low",
        body: "About 90 g left, enough until Thursday.",
        navigate: "https://pieward.example/feeders/f1",
        tag: "alarm-foodLow-rowan",
        silent: false,
        lang: "en",
        data: {
          item: null,
          feeder: "f1",
          fault: "foodLow",
          priority: "soon",
          raisedAt: null,
          actions: [],
          isClosing: false,
          image: null,
        },
      },
    });
  });

  it("names its alarm, its buttons and the id of its display receipt", () => {
    const raisedAt = instantOf("2026-11-25T13:00:00Z");
    const notice = notificationFixture({ raisedAt, actions: ["acknowledge", "pause"] });
    expect(pushPayload(notice, "f1", null, "item-7").notification.data).toMatchObject({
      item: "item-7",
      raisedAt: "2026-11-25T13:00:00.000Z",
      actions: ["acknowledge", "pause"],
      isClosing: false,
    });
  });

  it("takes an answer about a whole yard to one of its feeders, and leads to the first page all the same", () => {
    const [raisedAt, later] = [instantOf("2026-11-25T13:00:00Z"), instantOf("2026-11-25T13:02:00Z")];
    const notice = notificationFixture({
      raisedAt: later,
      actions: ["acknowledge"],
      actionTarget: { feeder: "f7", raisedAt },
    });
    const { data, navigate } = pushPayload(notice, null).notification;
    expect(data).toMatchObject({ feeder: "f7", raisedAt: "2026-11-25T13:00:00.000Z", actions: ["acknowledge"] });
    expect(navigate).toBe("/");
  });

  it("has the path of a picture, and none where it is closed", () => {
    const image = "/api/v1/yards/y1/stills/s1/picture?size=small";
    const imageIn = (notice: Parameters<typeof notificationFixture>[0]) =>
      pushPayload(notificationFixture(notice), "f1").notification.data.image;
    expect([imageIn({ image }), imageIn({ image, isClosing: true })]).toEqual([image, null]);
    const long = pushPayload(notificationFixture({ image, body: "x".repeat(9_000) }), "f1");
    expect(octetsOf(long)).toBe(payloadOctetsMax);
  });

  it("offers no answer to what asks for nothing any more", () => {
    const { data } = pushPayload(notificationFixture({ actions: ["acknowledge"], isClosing: true }), "f1").notification;
    expect(data).toMatchObject({ actions: [], isClosing: true });
  });

  it("leads to the first page where it is about no single feeder, and stays relative without a public address", () => {
    const leadsTo = (feeder: string | null, url: string | null) =>
      pushPayload(notificationFixture(), feeder, url).notification.navigate;
    expect(leadsTo(null, "https://pieward.example")).toBe("https://pieward.example/");
    expect(leadsTo("f1", "https://home.example/pieward")).toBe("https://home.example/pieward/feeders/f1");
    expect(leadsTo("f1", null)).toBe("/feeders/f1");
    expect(leadsTo(null, null)).toBe("/");
    expect(leadsTo("a/../b", "https://pieward.example")).toBe("https://pieward.example/feeders/a%2F..%2Fb");
  });

  it("has no sound where the notification is silent", () => {
    expect(pushPayload(notificationFixture({ silent: true }), "f1").notification.silent).toBe(true);
  });

  it("uses the room to the last octet and not one more (check value push-limit: 3,993)", () => {
    expect(payloadOctetsMax).toBe(4_096 - 86 - 1 - 16); // RFC 8291 s.4 / RFC 8030 s.7.2, quoted from source
    const frame = octetsOf(pushPayload(notificationFixture({ body: "" }), "f1"));
    const fits = "x".repeat(payloadOctetsMax - frame);
    expect(pushPayload(notificationFixture({ body: fits }), "f1").notification.body).toBe(fits);
    expect(octetsOf(pushPayload(notificationFixture({ body: fits }), "f1"))).toBe(payloadOctetsMax);
    const cutOff = pushPayload(notificationFixture({ body: `${fits}x` }), "f1");
    expect(cutOff.notification.body).toMatch(/x…$/);
    expect(octetsOf(cutOff)).toBe(payloadOctetsMax);
  });

  it("counts octets and not characters", () => {
    const payload = pushPayload(notificationFixture({ body: "å".repeat(3_000) }), "f1");
    expect(octetsOf(payload)).toBeLessThanOrEqual(payloadOctetsMax);
    expect(octetsOf(payload)).toBeGreaterThan(payloadOctetsMax - 3);
  });

  it("never cuts through an emoji, not even one of several code points", () => {
    const family = "👨‍👩‍👧‍👦"; // seven code points, 25 octets, one character to the reader
    for (let shift = 0; shift < 26; shift++) {
      const { body } = pushPayload(
        notificationFixture({ body: "x".repeat(shift) + family.repeat(300) }),
        "f1",
      ).notification;
      expect(body.slice(shift)).toMatch(new RegExp(`^(?:${family})+…$`, "u"));
    }
  });

  it("never separates a letter from its accent at the cut", () => {
    const room =
      payloadOctetsMax - octetsOf(pushPayload(notificationFixture({ body: "" }), "f1")) - Buffer.byteLength("…");
    for (let short = 0; short < 4; short++) {
      const body = `${"x".repeat(room - short)}${"e\u0301".repeat(9)}`;
      expect(pushPayload(notificationFixture({ body }), "f1").notification.body).not.toMatch(/e…$/);
    }
  });

  it("fits whatever the text is, and cuts only what is too long", () => {
    const words = fc.oneof(
      fc.string({ unit: "binary", maxLength: 4_500, size: "max" }),
      fc.string({ unit: "grapheme", maxLength: 3_000, size: "max" }),
      fc
        .array(fc.constantFrom("\u0000", "\n", '"', "\\", "\ud83d", "🐦‍⬛", "e\u0301", "麦"), {
          maxLength: 5_000,
          size: "max",
        })
        .map((parts) => parts.join("")),
    );
    let cuts = 0;
    fc.assert(
      fc.property(words, words, (title, body) => {
        const payload = pushPayload(notificationFixture({ title, body }), "f1", "https://pieward.example");
        expect(octetsOf(payload)).toBeLessThanOrEqual(payloadOctetsMax);
        if (payload.notification.body === body) return;
        cuts++;
        expect(payload.notification.body.endsWith("…")).toBe(true);
        expect(body.startsWith(payload.notification.body.slice(0, -1))).toBe(true);
      }),
      { numRuns: 100 },
    );
    expect(cuts, "the property must reach the case it guards").toBeGreaterThan(0);
  });

  it("leaves the body its room when a title is absurdly long", () => {
    const payload = pushPayload(notificationFixture({ title: "R".repeat(9_000) }), "f1");
    expect(payload.notification.title).toMatch(/^R{297}…$/);
    expect(payload.notification.body).toBe(notificationFixture().body);
  });

  it("throws where the frame itself can't fit, since that is a mistake of ours", () => {
    expect(() => pushPayload(notificationFixture(), "f".repeat(2_000))).toThrow(RangeError);
  });
});
