import { describe, expect, it, onTestFinished } from "vitest";
import webpush from "web-push";
import { endpointGuard } from "../../server/adapters/endpointGuard.ts";
import { webPush } from "../../server/adapters/webPush.ts";
import { hours, after as past, seconds } from "../../server/domain/instant.ts";
import { outboxServer as server, start } from "../support/outboxServer.ts";
import { startPushService } from "../support/pushService.ts";

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
