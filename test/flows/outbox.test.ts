import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import webpush from "web-push";
import { endpointGuard } from "../../server/adapters/endpointGuard.ts";
import { webPush } from "../../server/adapters/webPush.ts";
import type { Email } from "../../server/domain/email/email.ts";
import { hours, type Instant, instantOf, minutes, after as past, seconds } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import { createDeliveryScheduler, defaultDeliveryLimits } from "../../server/flows/deliveryScheduler.ts";
import { drainOutbox, type OutboxLimits, testPush } from "../../server/flows/outbox.ts";
import type { EmailGateway, EmailOutcome, Phone, PushGateway, PushOutcome } from "../../server/ports.ts";
import { InMemoryOutbox } from "../support/memoryOutbox.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { phoneFixture } from "../support/phoneFixture.ts";
import { type PushService, startPushService } from "../support/pushService.ts";

const start = instantOf("2026-11-25T06:30:00Z");
const accepted: PushOutcome = { kind: "accepted" };
const busy: PushOutcome = { kind: "tryLater", notBefore: null, text: "HTTP 503" };

/** A server with an outbox, a clock that is moved by hand and a push service that answers as told. */
function server(
  answer: (phone: Phone, notice: NotificationContent) => PushOutcome | Promise<PushOutcome> = () => accepted,
) {
  const outbox = new InMemoryOutbox();
  const clock = { at: start as Instant, now: () => clock.at };
  const sent: { readonly phone: string; readonly feeder: string | null; readonly notice: NotificationContent }[] = [];
  const logged: { readonly words: string; readonly err: unknown }[] = [];
  const push: PushGateway = {
    publicKey: "",
    checkEndpoint: async () => ({ kind: "allowed" }),
    async send(phone, feeder, notice) {
      sent.push({ phone: phone.id, feeder, notice });
      return answer(phone, notice);
    },
  };
  const written: { readonly to: string; readonly letter: Email; readonly id: string; readonly at: Instant }[] = [];
  const mail: EmailGateway & { answer: EmailOutcome } = {
    isConfigured: true,
    answer: { kind: "accepted" },
    async send(to, letter, id, at) {
      written.push({ to, letter, id, at });
      return this.answer;
    },
  };
  const ports = { clock, store: { outbox }, push, email: mail };
  const limits: OutboxLimits = {
    attemptMax: { push: seconds(30), email: seconds(30) },
    queueMax: seconds(25), // with the 5 s for settling, a claim holds for a minute
    most: 20,
    publicUrl: "https://alder.example/pieward",
    jitter: () => 0,
    log: { error: ({ err }, words) => logged.push({ words, err }) },
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
    tell: (phone: Phone, different: Partial<NotificationContent> = {}) =>
      outbox.enqueue(phone, "rowan", notificationFixture(different), clock.at),
    drain: (different: Partial<OutboxLimits> = {}) => drainOutbox(ports, { ...limits, ...different }),
  };
}

/** So many pushes at a time, half of them at services that haven't answered. */
const lanesOf = (total: number) => {
  const unanswering = Math.ceil(total / 2);
  const push = { total, perPerson: total, perService: unanswering, perUnanswering: 1, unanswering };
  return createDeliveryScheduler({ ...defaultDeliveryLimits, push });
};

/** A promise with its handle outside: a push service that answers when the test says so. */
function door<T>() {
  let open: (value: T) => void = () => {};
  const opened = new Promise<T>((resolve) => {
    open = resolve;
  });
  return { opened, open };
}

describe("the outbox", () => {
  it("delivers what is due to each phone, and is empty then", async () => {
    const { addPhone, tell, drain, sent, outbox } = server();
    for (const id of ["one", "two", "three"]) tell(addPhone({ id }), { title: "Rowan: food low" });
    expect(await drain()).toEqual({ delivered: 3, waiting: 0, givenUp: 0, phonesGone: 0, nextDueAt: null });
    expect(sent.map(({ phone, feeder }) => `${phone} ${feeder}`)).toEqual(["one rowan", "two rowan", "three rowan"]);
    expect(outbox.phone("one")?.lastAcceptedAt).toBe(start);
    expect((await drain()).delivered).toBe(0);
  });

  it("delivers all that is due, however little it claims at a time", async () => {
    const { addPhone, tell, drain, sent } = server();
    const phone = addPhone();
    for (let i = 0; i < 25; i++) tell(phone, { topic: `t${i}` });
    expect(await drain({ most: 4 })).toMatchObject({ delivered: 25 });
    expect(sent).toHaveLength(25);
  });

  it("tries again later what a busy push service put off, until it is taken", async () => {
    let answers = 3;
    const { addPhone, tell, drain, clock, outbox } = server(() => (answers-- > 0 ? busy : accepted));
    const { id } = addPhone();
    tell(addPhone({ id }));
    const waits: number[] = [];
    for (;;) {
      const { nextDueAt, delivered } = await drain();
      if (delivered === 1) break;
      if (nextDueAt === null) throw new Error("expected the notice to wait");
      expect((await drain()).waiting).toBe(0); // not before it is due
      expect(outbox.phone(id)?.problem).toBe("HTTP 503");
      waits.push((nextDueAt - clock.at) / 1_000);
      clock.at = nextDueAt;
    }
    expect(waits).toEqual([7.5, 15, 30]); // half of 15, 30, 60 s: the jitter here is 0
    expect(outbox.phone(id)).toMatchObject({ problem: null, lastAcceptedAt: clock.at });
  });

  it("gives up what push services put off until its time is over", async () => {
    const { addPhone, tell, drain, clock, sent } = server(() => busy);
    tell(addPhone(), { timeToLive: minutes(10) });
    for (;;) {
      const { nextDueAt, givenUp } = await drain();
      if (givenUp === 1) break;
      if (nextDueAt === null) throw new Error("expected the notice to wait");
      clock.at = nextDueAt;
    }
    expect(clock.at).toBeLessThanOrEqual(past(start, minutes(10)));
    expect(sent.length).toBeGreaterThan(4);
    expect(sent.map(({ notice }) => notice.timeToLive)).toEqual(
      [...sent.map(({ notice }) => notice.timeToLive)].sort((a, b) => b - a),
    );
  });

  it("does not send a stale notice: yesterday's alarm would mislead", async () => {
    const { addPhone, tell, drain, clock, sent, outbox } = server();
    tell(addPhone(), { timeToLive: hours(12) });
    clock.at = past(start, hours(13));
    expect(await drain()).toMatchObject({ delivered: 0, givenUp: 1, nextDueAt: null });
    expect(sent).toEqual([]);
    expect(outbox.settled.at(-1)?.settlement).toMatchObject({ kind: "givenUp", problem: "too old to send" });
  });

  it("hands on only the time that a notice has left", async () => {
    const { addPhone, tell, drain, clock, sent } = server();
    tell(addPhone(), { timeToLive: hours(12) });
    clock.at = past(start, hours(5));
    await drain();
    expect(sent[0]?.notice.timeToLive).toBe(hours(7));
  });

  it("forgets a phone that is gone, with all that waits for it", async () => {
    const { addPhone, tell, drain, outbox } = server(({ id }) =>
      id === "gone" ? { kind: "subscriptionGone", text: "HTTP 410" } : accepted,
    );
    const gone = addPhone({ id: "gone" });
    tell(gone);
    tell(addPhone({ id: "stays" }));
    expect(await drain()).toMatchObject({ delivered: 1, phonesGone: 1, nextDueAt: null });
    expect(outbox.phone("gone")).toBeNull();
    expect(outbox.phone("stays")).not.toBeNull();
  });

  it("does not try again what was refused, and shows why", async () => {
    const { addPhone, tell, drain, outbox } = server(() => ({ kind: "refused", text: "HTTP 403" }));
    tell(addPhone());
    expect(await drain()).toMatchObject({ givenUp: 1, nextDueAt: null });
    expect(outbox.phone("phone")?.problem).toBe("HTTP 403");
  });

  it("lets no hanging push service hold up the phones of others", async () => {
    const hanging = door<PushOutcome>();
    const reached = door<void>();
    let others = 0;
    const { addPhone, tell, drain } = server(({ endpoint }) => {
      if (endpoint.startsWith("https://hanging.example")) return hanging.opened;
      others++;
      if (others === 10) reached.open();
      return accepted;
    });
    for (let i = 0; i < 10; i++) tell(addPhone({ id: `h${i}`, endpoint: `https://hanging.example/${i}` }));
    for (let i = 0; i < 10; i++) tell(addPhone({ id: `o${i}`, endpoint: `https://push.example/${i}` }));
    const drained = drain({ scheduler: lanesOf(4), most: 50 });
    await reached.opened; // all others are served while the first are still hanging
    hanging.open(busy);
    expect(await drained).toMatchObject({ delivered: 10, waiting: 10 });
  });

  it("keeps no more deliveries under way than it may", async () => {
    let underWay = 0;
    let peak = 0;
    const { addPhone, tell, drain } = server(async () => {
      underWay++;
      peak = Math.max(peak, underWay);
      await Promise.resolve();
      underWay--;
      return accepted;
    });
    for (let i = 0; i < 30; i++) {
      tell(addPhone({ id: `p${i}`, endpoint: `https://push${i % 5}.example/${i}` }));
    }
    expect(await drain({ scheduler: lanesOf(3), most: 50 })).toMatchObject({ delivered: 30 });
    expect(peak).toBe(3);
  });

  it("sends no notice twice although two drain at once", async () => {
    const { addPhone, tell, drain, sent } = server();
    for (let i = 0; i < 30; i++) tell(addPhone({ id: `p${i}` }));
    const drained = await Promise.all([drain({ most: 7 }), drain({ most: 7 }), drain({ most: 7 })]);
    expect(drained.map(({ delivered }) => delivered).reduce((a, b) => a + b)).toBe(30);
    expect(new Set(sent.map(({ phone }) => phone)).size).toBe(sent.length);
  });

  it("sends again after a crash between sending and settling, once the claim has run out", async () => {
    const { addPhone, tell, drain, outbox, clock, sent, logged } = server();
    tell(addPhone());
    const settle = outbox.settle.bind(outbox);
    outbox.settle = () => Promise.reject(new Error("the power went"));
    expect(await drain()).toMatchObject({ delivered: 0, nextDueAt: past(start, minutes(1)) });
    expect(logged).toEqual([{ words: expect.stringContaining("made again"), err: new Error("the power went") }]);
    outbox.settle = settle;
    expect((await drain()).delivered).toBe(0); // still claimed
    clock.at = past(start, minutes(1));
    expect((await drain()).delivered).toBe(1);
    expect(sent).toHaveLength(2);
  });

  it("begins no delivery whose claim could run out before its end", async () => {
    const { addPhone, tell, drain, clock, sent, outbox } = server();
    tell(addPhone());
    const claim = outbox.claim.bind(outbox);
    outbox.claim = async (...of) => {
      const claimed = await claim(...of);
      if (claimed.length > 0) clock.at = past(clock.at, seconds(26)); // the disk took its time
      return claimed;
    };
    expect(await drain()).toMatchObject({ delivered: 0, nextDueAt: past(start, minutes(1)) });
    expect(sent).toEqual([]);
    outbox.claim = claim;
    clock.at = past(start, minutes(1));
    expect((await drain()).delivered).toBe(1);
  });

  it("lets what is urgent pass by a hanging service at which 300 wait, in a round of its own", async () => {
    const hanging = door<PushOutcome>();
    const { addPhone, tell, drain, sent, outbox } = server(({ endpoint }) =>
      endpoint.startsWith("https://hanging.example") ? hanging.opened : accepted,
    );
    const lanes = createDeliveryScheduler();
    for (let i = 0; i < 300; i++) {
      tell(addPhone({ id: `h${i}`, keeper: `bo-${i % 30}`, endpoint: `https://hanging.example/${i}` }));
    }
    const first = drain({ scheduler: lanes, most: 50 });
    await vi.waitFor(() => expect(sent).toHaveLength(1));
    const stuck = [drain({ scheduler: lanes, most: 50 }), drain({ scheduler: lanes, most: 50 })];
    tell(addPhone({ id: "adas" }), { priority: "urgent" });
    stuck.push(drain({ scheduler: lanes, most: 50 }));
    await vi.waitFor(() => expect(outbox.settled).toHaveLength(1)); // whichever of the rounds took it
    expect(sent.map(({ phone }) => phone)).toEqual(["h0", "adas"]);
    lanes.close(); // as at the end of the process: nothing more begins, and what is under way ends
    hanging.open({ ...busy, noAnswer: true });
    expect(await first).toMatchObject({ waiting: 1 });
    await Promise.all(stuck);
    expect(sent).toHaveLength(2);
  });

  it("tells what follows at once where something reached nobody, though the same round still hangs elsewhere", async () => {
    const hanging = door<PushOutcome>();
    const { addPhone, tell, drain } = server(({ id }) =>
      id === "hanging" ? hanging.opened : { kind: "refused", text: "HTTP 403" },
    );
    tell(addPhone({ id: "hanging", endpoint: "https://hanging.example/1" }));
    tell(addPhone({ id: "refused" }));
    const lost = door<void>();
    const drained = drain({ onLost: async () => lost.open() });
    await lost.opened;
    hanging.open(accepted);
    expect(await drained).toMatchObject({ delivered: 1, givenUp: 1 });
  });

  it("names an unexpected error in the log and tries again, and the others go out", async () => {
    const { addPhone, tell, drain, logged, outbox } = server(({ id }) => {
      if (id === "bad") throw new TypeError("a mistake in the adapter");
      return accepted;
    });
    tell(addPhone({ id: "bad" }));
    tell(addPhone({ id: "good" }));
    expect(await drain()).toMatchObject({ delivered: 1, waiting: 1 });
    expect(logged).toEqual([{ words: expect.any(String), err: new TypeError("a mistake in the adapter") }]);
    expect(outbox.phone("bad")?.problem).toContain("internal error");
  });
});

describe("a letter", () => {
  it("goes to the person's address with the names and the way to its feeder, and keeps its id at each attempt", async () => {
    const { outbox, drain, written, mail, clock } = server();
    outbox.enqueueEmail(
      "ada",
      "ada@alder.example",
      "rowan",
      notificationFixture({ title: "Rowan: hopper empty" }),
      start,
    );
    mail.answer = { kind: "tryLater", notBefore: null, text: "451 greylisted" };
    expect(await drain()).toMatchObject({ waiting: 1 });
    clock.at = past(start, minutes(5));
    mail.answer = { kind: "accepted" };
    expect(await drain()).toMatchObject({ delivered: 1, nextDueAt: null });
    expect(written.map(({ to, at }) => `${to} ${at}`)).toEqual(Array(2).fill(`ada@alder.example ${start}`));
    expect(new Set(written.map(({ id }) => id)).size).toBe(1);
    expect(written[0]?.letter.subject).toBe("Rowan: hopper empty");
    expect(written[0]?.letter.text).toContain("Feeder: Rowan. Yard: Alder Croft.");
    expect(written[0]?.letter.text).toContain("https://alder.example/pieward/feeders/rowan");
  });

  it("is given up where a mail server refuses it", async () => {
    const { outbox, drain, mail } = server();
    outbox.enqueueEmail("ada", "nobody@alder.example", null, notificationFixture(), start);
    mail.answer = { kind: "refused", text: "550 no such mailbox" };
    expect(await drain()).toMatchObject({ givenUp: 1, nextDueAt: null });
    expect(outbox.settled).toMatchObject([{ settlement: { kind: "givenUp", problem: "550 no such mailbox" } }]);
  });

  it("that hangs holds up no phone", async () => {
    const { outbox, drain, addPhone, tell, mail, sent } = server();
    const stuck = door<EmailOutcome>();
    mail.send = () => stuck.opened;
    for (let i = 0; i < 8; i++)
      outbox.enqueueEmail(`person-${i}`, "x@alder.example", null, notificationFixture(), start);
    for (let i = 0; i < 4; i++) tell(addPhone({ id: `phone-${i}` }));
    const drained = drain();
    await vi.waitFor(() => expect(sent).toHaveLength(4));
    stuck.open({ kind: "accepted" });
    expect(await drained).toMatchObject({ delivered: 12 });
  });
});

describe("a test push", () => {
  it("says by phone what its push service answered, and forgets one that is gone", async () => {
    const answers: Record<string, PushOutcome> = {
      fine: accepted,
      gone: { kind: "subscriptionGone", text: "HTTP 410" },
      wrong: { kind: "refused", text: "HTTP 403" },
      busy,
    };
    const { addPhone, ports, outbox } = server(({ id }) => answers[id] ?? accepted);
    const phones = ["fine", "gone", "wrong", "busy"].map((id) => addPhone({ id }));
    const outcomes = await testPush(
      ports,
      phones,
      notificationFixture({ fault: null, title: "A test", topic: "test" }),
      seconds(20),
    );
    expect(outcomes.map(({ phone, outcome }) => [phone.id, outcome])).toEqual(Object.entries(answers));
    expect(outbox.phone("fine")?.lastAcceptedAt).toBe(start);
    expect(outbox.phone("gone")).toBeNull();
    expect(outbox.phone("wrong")?.problem).toBe("HTTP 403");
    expect(outbox.phone("busy")?.problem).toBe("HTTP 503");
    expect(await outbox.nextDueAt()).toBeNull(); // nothing is kept to be tried again
  });
});

describe("from the outbox to the phone, over a real push service on this machine", () => {
  let service: PushService;
  beforeEach(async () => {
    service = await startPushService();
  });
  afterEach(() => service.close());

  it("arrives after the service was busy, and forgets the phone once it has unsubscribed", async () => {
    const { outbox, clock, tell, ports, drain } = server();
    const vapid = { subject: "mailto:keeper@pieward.example", ...webpush.generateVAPIDKeys() };
    const guard = endpointGuard({ allowPrivateEndpoints: true });
    ports.push = webPush({ vapid, publicUrl: null, guard, timeoutMs: 5_000, tls: { ca: service.ca } });
    const phone = service.subscribe();
    outbox.addPhone(phone);

    service.setBehaviour({ kind: "answer", status: 429, headers: { "retry-after": "90" } });
    tell(phone, { title: "Larch: hopper empty", priority: "urgent", timeToLive: hours(12) });
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
    tell(phone);
    expect(await drain()).toMatchObject({ phonesGone: 1 });
    expect(outbox.phone(phone.id)).toBeNull();
  });
});
