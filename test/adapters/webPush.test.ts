import { createECDH } from "node:crypto";
import type { AddressInfo } from "node:net";
import { createServer } from "node:net";
import ece from "http_ece";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import webpush from "web-push";
import { type EndpointGuardOptions, endpointGuard } from "../../server/adapters/endpointGuard.ts";
import { webPush } from "../../server/adapters/webPush.ts";
import { hours, instantOf, after as past, seconds } from "../../server/domain/instant.ts";
import { isTopic } from "../../server/domain/push/pushOptions.ts";
import type { Phone, PushOutcome } from "../../server/ports.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { decryptPush, receiverKeys } from "../support/pushMessage.ts";
import { type PushService, type PushServiceBehaviour, startPushService } from "../support/pushService.ts";
import { testOnlyCertificate } from "../support/testOnlyCertificate.ts";

const vapid = { subject: "mailto:keeper@pieward.example", ...webpush.generateVAPIDKeys() };
const now = instantOf("2026-11-25T06:30:00Z");

let service: PushService;
beforeEach(async () => {
  service = await startPushService();
});
afterEach(() => service.close());

function gateway({ guard = { allowPrivateEndpoints: true } as EndpointGuardOptions, timeoutMs = 5_000 } = {}) {
  return webPush({
    vapid,
    publicUrl: "https://pieward.example",
    guard: endpointGuard(guard),
    timeoutMs,
    tls: { ca: testOnlyCertificate },
  });
}

const send = (phone: Phone, different: Parameters<typeof notificationFixture>[0] = {}, feeder: string | null = "f1") =>
  gateway().send(phone, feeder, notificationFixture(different), now, "item-1");

describe("web push", () => {
  it("delivers a notification that the phone can decrypt", async () => {
    const phone = service.subscribe();
    expect(await send(phone, { priority: "urgent", title: "Larch: food out 🐦‍⬛" })).toEqual({ kind: "accepted" });
    expect(service.complaints).toEqual([]);
    const [message] = service.messagesFor(phone);
    expect(message).toMatchObject({ ttlSeconds: 43_200, urgency: "high" });
    expect(message?.payload).toMatchObject({
      web_push: 8030,
      notification: { title: "Larch: food out 🐦‍⬛", navigate: "https://pieward.example/feeders/f1" },
    });
  });

  it("signs for this push service, for less than a day, with a contact address (RFC 8292)", async () => {
    const phone = service.subscribe();
    await send(phone);
    const [message] = service.messagesFor(phone);
    expect(message?.claims).toMatchObject({ aud: service.origin, sub: vapid.subject });
    expect((message?.claims.exp ?? 0) - Date.now() / 1_000).toBeLessThanOrEqual(86_400);
  });

  it("encrypts so that a second implementation reads the same text", async () => {
    // web-push chooses its salt and key itself, so the RFC 8291 vector can't be used: the result is decrypted, twice.
    const receiver = createECDH("prime256v1");
    receiver.generateKeys();
    const auth = "BTBZMqHH6r4Tts7J_aSIgg";
    const text = JSON.stringify({ text: "å 🐦‍⬛ 麦".repeat(50) });
    const { cipherText } = webpush.encrypt(receiver.getPublicKey("base64url"), auth, text, "aes128gcm");
    const body = Buffer.from(cipherText);
    const byHand = decryptPush(body, receiverKeys(receiver.getPrivateKey("base64url"), auth));
    const byLibrary = ece.decrypt(body, { version: "aes128gcm", privateKey: receiver, authSecret: auth });
    expect(byHand.toString("utf8")).toBe(text);
    expect(byLibrary.equals(byHand)).toBe(true);
  });

  it("sends no more than every push service must accept: 4,096 octets (check value push-limit)", async () => {
    const phone = service.subscribe();
    expect(await send(phone, { body: "🐦‍⬛".repeat(3_000) })).toEqual({ kind: "accepted" });
    const [message] = service.messagesFor(phone);
    expect(message?.body.length).toBeLessThanOrEqual(4_096);
    expect(message?.body.length).toBeGreaterThan(4_080);
    expect(message?.body.length).toBe(Buffer.byteLength(message?.text ?? "") + 86 + 1 + 16);
  });

  it("lets a newer notification replace the older of its topic", async () => {
    const phone = service.subscribe();
    await send(phone, { title: "old" });
    await send(phone, { title: "other topic", topic: "alarm-foodLow-larch" });
    await send(phone, { title: "new" });
    const titles = service.messagesFor(phone).map((message) => message.payload.notification.title);
    expect(titles).toEqual(["other topic", "new"]);
  });

  it("hides the topic from the push service", async () => {
    const phone = service.subscribe();
    await send(phone, { topic: "a topic that is much too long for RFC 8030, with spaces" });
    const topic = service.messagesFor(phone)[0]?.topic ?? "";
    expect(isTopic(topic)).toBe(true);
    expect(topic).toHaveLength(32);
    expect(topic).not.toContain("topic");
  });

  describe("understands the answer of a push service:", () => {
    const answer = (status: number, headers: Record<string, string> = {}, body = "") =>
      ({ kind: "answer", status, headers, body }) as const;
    const later = (text: string, notBefore: number | null = null) => ({
      kind: "tryLater",
      notBefore: notBefore === null ? null : past(now, seconds(notBefore)),
      text,
    });
    const cases: readonly [name: string, behaviour: PushServiceBehaviour, outcome: object][] = [
      ["201", { kind: "accept" }, { kind: "accepted" }],
      ["200", { kind: "accept", status: 200 }, { kind: "accepted" }],
      ["202", { kind: "accept", status: 202 }, { kind: "accepted" }],
      ["204", { kind: "accept", status: 204 }, { kind: "accepted" }],
      ["400", answer(400), { kind: "refused", text: "HTTP 400" }],
      ["401", answer(401), { kind: "refused", text: "HTTP 401" }],
      ["403", answer(403, {}, "wrong\n  key"), { kind: "refused", text: "HTTP 403: wrong key" }],
      ["404", answer(404), { kind: "subscriptionGone", text: "HTTP 404" }],
      ["410", answer(410), { kind: "subscriptionGone", text: "HTTP 410" }],
      ["408", answer(408), later("HTTP 408")],
      ["413", answer(413), { kind: "refused", text: "HTTP 413" }],
      ["429 with seconds", answer(429, { "retry-after": "120" }), later("HTTP 429", 120)],
      ["429 with a date", answer(429, { "retry-after": "Wed, 25 Nov 2026 06:40:00 GMT" }), later("HTTP 429", 600)],
      ["429 that may be tried again at once", answer(429, { "retry-after": "0" }), later("HTTP 429", 0)],
      ["425", answer(425), later("HTTP 425")],
      ["429 with nonsense", answer(429, { "retry-after": "soon" }), later("HTTP 429")],
      ["500", answer(500), later("HTTP 500")],
      ["502", answer(502, {}, "<html>\u0007bad gateway</html>"), later("HTTP 502: <html> bad gateway</html>")],
      ["504", answer(504), later("HTTP 504")],
      ["503", answer(503, { "retry-after": "30" }), later("HTTP 503", 30)],
      ["a broken connection", { kind: "cutLine" }, { kind: "tryLater", notBefore: null, noAnswer: true }],
      [
        "an answer whose text is cut off",
        { kind: "cutAnswer", status: 410 },
        { kind: "subscriptionGone", text: "HTTP 410: gone b" },
      ],
      ["a refusal without end", { kind: "flood", status: 400 }, { kind: "refused" }],
      ["an acceptance without end", { kind: "flood", status: 201 }, { kind: "accepted" }],
    ];
    it.each(cases)("%s", async (_, behaviour, outcome) => {
      const phone = service.subscribe();
      service.setBehaviour(behaviour);
      expect(await send(phone)).toMatchObject(outcome);
      expect(service.requests).toBe(1);
      expect(service.complaints).toEqual([]);
    });
  });

  it("reports that a notification without an answer may have arrived, and a second one replaces it", async () => {
    const phone = service.subscribe();
    service.setBehaviour({ kind: "acceptAndCut" });
    expect(await send(phone)).toMatchObject({ kind: "tryLater", mayHaveArrived: true });
    service.setBehaviour({ kind: "accept" });
    expect(await send(phone)).toEqual({ kind: "accepted" });
    expect(service.acceptedCount).toHaveLength(2);
    expect(service.messagesFor(phone)).toHaveLength(1);
    expect(new Set(service.acceptedCount.map(({ payload }) => payload.notification.tag)).size).toBe(1);
  });

  it("stores no more than a short line of an answer", async () => {
    service.setBehaviour({ kind: "flood", status: 400 });
    const outcome = await send(service.subscribe());
    expect(outcome.kind === "refused" && outcome.text.length).toBeLessThanOrEqual(220);
  });

  it.each([301, 302, 303, 307, 308])("follows no redirect (%i)", async (status) => {
    const elsewhere = await startPushService();
    const phone = service.subscribe();
    service.setBehaviour({ kind: "redirect", to: elsewhere.subscribe().endpoint, status });
    expect(await send(phone)).toMatchObject({ kind: "refused", text: `HTTP ${status}` });
    expect(elsewhere.requests).toBe(0);
    await elsewhere.close();
  });

  it("waits for a hanging service no longer than its timeout", async () => {
    service.setBehaviour({ kind: "hang" });
    const outcome = await gateway({ timeoutMs: 60 }).send(
      service.subscribe(),
      "f1",
      notificationFixture(),
      now,
      "item-1",
    );
    expect(outcome).toEqual({
      kind: "tryLater",
      mayHaveArrived: true,
      noAnswer: true,
      notBefore: null,
      text: "no answer within 60 ms",
    });
  });

  it("ends a slow answer at the same time, and uses its status", async () => {
    const outcomeOf = async (status: number) => {
      service.setBehaviour({ kind: "trickle", status });
      return gateway({ timeoutMs: 120 }).send(service.subscribe(), "f1", notificationFixture(), now, "item-1");
    };
    expect(await outcomeOf(503)).toMatchObject({ kind: "tryLater", text: expect.stringMatching(/^HTTP 503: \.+$/) });
    expect(await outcomeOf(410)).toMatchObject({ kind: "subscriptionGone" });
    expect(await outcomeOf(201)).toEqual({ kind: "accepted" });
  });

  it("ends with a service that accepts the connection and never answers", async () => {
    const mute = createServer((socket) => socket.on("error", () => {}).resume()); // reads, so that it sees the end
    await new Promise<void>((resolve) => mute.listen(0, "127.0.0.1", resolve));
    const phone = { ...service.subscribe(), endpoint: `https://127.0.0.1:${(mute.address() as AddressInfo).port}/a` };
    expect(await gateway({ timeoutMs: 60 }).send(phone, "f1", notificationFixture(), now, "item-1")).toMatchObject({
      kind: "tryLater",
    });
    await new Promise((resolve) => mute.close(resolve));
  });

  it("tries later where no service listens, or the name is not found", async () => {
    const phone = service.subscribe();
    await service.close();
    expect(await send(phone)).toMatchObject({ kind: "tryLater", text: expect.stringContaining("ECONNREFUSED") });
    const lost = { resolve: () => Promise.reject(new Error("getaddrinfo ENOTFOUND push.example")) };
    const named = { ...phone, endpoint: "https://push.example/a" };
    expect(await gateway({ guard: lost }).send(named, "f1", notificationFixture(), now, "item-1")).toMatchObject({
      kind: "tryLater",
      text: expect.stringContaining("ENOTFOUND"),
    });
    service = await startPushService();
  });

  it("trusts only configured certificates", async () => {
    const push = webPush({
      vapid,
      publicUrl: null,
      guard: endpointGuard({ allowPrivateEndpoints: true }),
      timeoutMs: 5_000,
    });
    expect(await push.send(service.subscribe(), "f1", notificationFixture(), now, "item-1")).toMatchObject({
      kind: "tryLater",
    });
    expect(service.requests).toBe(0);
  });

  it("sends nothing to a private address, in the endpoint or behind a name", async () => {
    const byDigits = service.subscribe();
    expect(await gateway({ guard: {} }).send(byDigits, "f1", notificationFixture(), now, "item-1")).toEqual({
      kind: "refused",
      text: "127.0.0.1 is not a public address",
    });
    const byName = service.subscribe({ host: "push.example" });
    const guard = { resolve: async () => [{ address: "127.0.0.1", family: 4 }] };
    expect(await gateway({ guard }).send(byName, "f1", notificationFixture(), now, "item-1")).toMatchObject({
      kind: "refused",
    });
    expect(service.requests).toBe(0);
  });

  it("sends nothing to a name that became private after it was checked", async () => {
    const phone = service.subscribe({ host: "push.example" });
    const answers = ["8.8.8.8", "127.0.0.1"];
    const push = gateway({ guard: { resolve: async () => [{ address: answers.shift() ?? "127.0.0.1", family: 4 }] } });
    expect(await push.checkEndpoint(phone.endpoint)).toEqual({ kind: "allowed" });
    expect(await push.send(phone, "f1", notificationFixture(), now, "item-1")).toMatchObject({ kind: "refused" });
    expect(answers).toEqual([]);
    expect(service.requests).toBe(0);
  });

  it("connects to the address that the guard checked", async () => {
    const phone = service.subscribe({ host: "push.example" });
    let queries = 0;
    const resolve = async () => {
      queries++;
      return [{ address: "127.0.0.1", family: 4 }];
    };
    const push = gateway({ guard: { allowPrivateEndpoints: true, resolve } });
    expect(await push.send(phone, "f1", notificationFixture(), now, "item-1")).toEqual({ kind: "accepted" });
    expect(service.complaints).toEqual([]);
    expect(queries).toBe(1);
  });

  it("refuses a phone with invalid keys, before anything is sent", async () => {
    const phone = service.subscribe();
    const broken: Phone[] = [
      { ...phone, p256dh: "A".repeat(87) },
      { ...phone, p256dh: "" },
      { ...phone, auth: "AAAA" },
    ];
    for (const one of broken) expect(await send(one)).toMatchObject({ kind: "refused" } satisfies Partial<PushOutcome>);
    expect(service.requests).toBe(0);
  });

  it("finds wrong VAPID details at the start, not with the first alarm", () => {
    const creating = (different: Partial<typeof vapid>) => () =>
      webPush({ vapid: { ...vapid, ...different }, publicUrl: null, guard: endpointGuard(), timeoutMs: 1 });
    expect(creating({})).not.toThrow();
    expect(creating({ subject: "keeper" })).toThrow();
    expect(creating({ privateKey: "short" })).toThrow();
    expect(creating({ publicKey: webpush.generateVAPIDKeys().publicKey })).toThrow("belongs to the private key");
  });

  it("gives the push service the notification's time to live, down to zero", async () => {
    const phone = service.subscribe();
    await send(phone, { timeToLive: seconds(0) });
    expect(service.messagesFor(phone)[0]?.ttlSeconds).toBe(0);
    await send(phone, { timeToLive: hours(1) });
    expect(service.messagesFor(phone).at(-1)?.ttlSeconds).toBe(3_600);
  });
});
