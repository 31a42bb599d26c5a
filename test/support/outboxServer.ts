import type { Email } from "../../server/domain/email/email.ts";
import { type Instant, instantOf, seconds } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import { drainOutbox, type OutboxLimits } from "../../server/flows/outbox.ts";
import type { EmailGateway, EmailOutcome, Phone, PushGateway, PushOutcome } from "../../server/ports.ts";
import { createMemoryOutbox } from "./memoryOutbox.ts";
import { notificationFixture } from "./notificationFixture.ts";
import { phoneFixture } from "./phoneFixture.ts";

export const start = instantOf("2026-11-25T06:30:00Z");
export const accepted: PushOutcome = { kind: "accepted" };

/** A server with an outbox, a clock that the test moves and a push service that answers as the test sets. */
export function outboxServer(
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
