import { describe, expect, it, vi } from "vitest";
import { instantOf, seconds } from "../../server/domain/instant.ts";
import { createDeliveryScheduler } from "../../server/flows/deliveryScheduler.ts";
import { drainOutbox, type OutboxLimits } from "../../server/flows/outbox.ts";
import type { EmailGateway, PushGateway } from "../../server/ports.ts";
import { createMemoryOutbox } from "../support/memoryOutbox.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { phoneFixture } from "../support/phoneFixture.ts";

const start = instantOf("2026-11-25T06:30:00Z");

describe("the outbox with its default limits", () => {
  it.each([
    ["8 at a service that answers, whoever they are for", 8, (n: number) => ({ keeper: `keeper ${n}` }), () => "one"],
    ["16 for one person, at whatever services that answer", 16, () => ({}), (n: number) => `s${n % 5}`],
    ["64 together", 64, (n: number) => ({ keeper: `keeper ${n % 20}` }), (n: number) => `s${n % 20}`],
  ])("has at most %s under way by default", async (_, most, personOf, serviceOf) => {
    const answers: (() => void)[] = [];
    let hanging = false;
    const outbox = createMemoryOutbox();
    const push: PushGateway = {
      publicKey: "",
      checkEndpoint: async () => ({ kind: "allowed" }),
      async send() {
        if (hanging) await new Promise<void>((answer) => answers.push(answer));
        return { kind: "accepted" };
      },
    };
    const mail: EmailGateway = { isConfigured: false, send: async () => ({ kind: "accepted" }) };
    const limits: OutboxLimits = {
      ...{ attemptMax: { push: seconds(30), email: seconds(30) }, queueMax: seconds(25), most: 50, publicUrl: null },
      jitter: () => 0,
      scheduler: createDeliveryScheduler(),
      log: {
        error: ({ err }, text) => {
          throw new Error(text, { cause: err });
        },
      },
    };
    const drain = () => drainOutbox({ clock: { now: () => start }, store: { outbox }, push, email: mail }, limits);
    const phones = Array.from({ length: 200 }, (_, n) =>
      phoneFixture({ id: `p${n}`, endpoint: `https://${serviceOf(n)}.example/${n}`, ...personOf(n) }),
    );
    for (const phone of phones) outbox.addPhone(phone);
    for (const phone of phones) outbox.enqueue(phone, "rowan", notificationFixture(), start);
    expect(await drain()).toMatchObject({ delivered: 200 }); // now they are known to answer
    hanging = true;
    for (const phone of phones) outbox.enqueue(phone, "rowan", notificationFixture({ topic: "another" }), start);
    const drained = drain();
    await vi.waitFor(() => expect(answers.length).toBeGreaterThanOrEqual(most));
    await new Promise((resolve) => setImmediate(resolve)); // all that can begin has begun
    expect(answers).toHaveLength(most);
    hanging = false;
    for (const answer of answers) answer();
    await drained;
  });
});
