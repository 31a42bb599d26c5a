import { describe, expect, it, onTestFinished } from "vitest";
import webpush from "web-push";
import { endpointGuard } from "../../server/adapters/endpointGuard.ts";
import { webPush } from "../../server/adapters/webPush.ts";
import type { Email } from "../../server/domain/email/email.ts";
import { hours, type Instant, instantOf, after as past, seconds } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import { drainOutbox, type OutboxLimits } from "../../server/flows/outbox.ts";
import type { EmailGateway, EmailOutcome, Phone, PushGateway, PushOutcome } from "../../server/ports.ts";
import { createMemoryOutbox } from "../support/memoryOutbox.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { phoneFixture } from "../support/phoneFixture.ts";
import { startPushService } from "../support/pushService.ts";

const start = instantOf("2026-11-25T06:30:00Z");
const accepted: PushOutcome = { kind: "accepted" };

/** A server with an outbox, a clock that the test moves and a push service that answers as the test sets. */
function server(
  answer: (phone: Phone, content: NotificationContent) => PushOutcome | Promise<PushOutcome> = () => accepted,
) {
  const outbox = createMemoryOutbox();
  const clock = { at: start as Instant, now: () => clock.at };
  const sent: { readonly phone: string; readonly feeder: string | null; readonly content: NotificationContent }[] = [];
  const logged: { readonly text: string; readonly err: unknown }[] = [];
  const push: PushGateway = {
    publicKey: "",
    checkEndpoint: async () => ({ kind: "allowed" }),
    async send(phone, feeder, content) {
      sent.push({ phone: phone.id, feeder, content });
      return answer(phone, content);
    },
  };
  const written: { readonly to: string; readonly email: Email; readonly id: string; readonly at: Instant }[] = [];
  const mail: EmailGateway & { answer: EmailOutcome } = {
    isConfigured: true,
    answer: { kind: "accepted" },
    async send(to, email, id, at) {
      written.push({ to, email, id, at });
      return this.answer;
    },
  };
  const ports = { clock, store: { outbox }, push, email: mail };
  const limits: OutboxLimits = {
    attemptMax: { push: seconds(30), email: seconds(30) },
    queueMax: seconds(25), // with the 5 s for settling, a claim lasts for a minute
    most: 20,
    publicUrl: "https://alder.example/pieward",
    jitter: () => 0,
    log: { error: ({ err }, text) => logged.push({ text, err }) },
  };
  return {
    outbox,
    clock,
    sent,
    written,
    mail,
    logged,
    ports,
    addPhone(different: Partial<Phone> = {}) {
      const phone = phoneFixture(different);
      outbox.addPhone(phone);
      return phone;
    },
    enqueue: (phone: Phone, different: Partial<NotificationContent> = {}) =>
      outbox.enqueue(phone, "rowan", notificationFixture(different), clock.at),
    drain: (different: Partial<OutboxLimits> = {}) => drainOutbox(ports, { ...limits, ...different }),
  };
}

describe("from the outbox to the phone, over a real push service on this machine", () => {
  it("arrives after the service was busy, and removes the phone once it has unsubscribed", async () => {
    const service = await startPushService();
    onTestFinished(() => service.close());
    const { outbox, clock, enqueue, ports, drain } = server();
    const vapid = { subject: "mailto:keeper@pieward.example", ...webpush.generateVAPIDKeys() };
    const guard = endpointGuard({ allowPrivateEndpoints: true });
    ports.push = webPush({ vapid, publicUrl: null, guard, timeoutMs: 5_000, tls: { ca: service.ca } });
    const phone = service.subscribe();
    outbox.addPhone(phone);

    service.setBehaviour({ kind: "answer", status: 429, headers: { "retry-after": "90" } });
    enqueue(phone, { title: "Larch: hopper empty", priority: "urgent", timeToLive: hours(12) });
    expect(await drain()).toMatchObject({ waiting: 1, nextDueAt: past(start, seconds(90)) });

    service.setBehaviour({ kind: "accept" });
    clock.at = past(start, seconds(90));
    const arriving = service.nextMessage(phone);
    expect(await drain()).toMatchObject({ delivered: 1, nextDueAt: null });
    const message = await arriving;
    expect(message).toMatchObject({ urgency: "high", ttlSeconds: 12 * 3_600 - 90 });
    expect(message.payload.notification).toMatchObject({ title: "Larch: hopper empty", navigate: "/feeders/rowan" });
    expect(service.complaints).toEqual([]);

    service.unsubscribe(phone);
    enqueue(phone);
    expect(await drain()).toMatchObject({ phonesGone: 1 });
    expect(outbox.phone(phone.id)).toBeNull();
  });
});
