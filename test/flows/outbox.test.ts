import { describe, expect, it, vi } from "vitest";
import { hours, minutes, after as past, seconds } from "../../server/domain/instant.ts";
import { createDeliveryScheduler, defaultDeliveryLimits } from "../../server/flows/deliveryScheduler.ts";
import { testPush } from "../../server/flows/outbox.ts";
import type { EmailOutcome, PushOutcome } from "../../server/ports.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { accepted, outboxServer as server, start } from "../support/outboxServer.ts";

const busy: PushOutcome = { kind: "tryLater", notBefore: null, text: "HTTP 503" };

describe("the picture of a push", () => {
  it("is looked up when it is sent, and a push goes without it where that fails", async () => {
    const { sent, logged, addPhone, enqueue, drain } = server();
    enqueue(addPhone({ id: "p1" }));
    await drain({ imageOf: async ({ feeder }) => `/picture-of-${feeder}` });
    expect(sent.map(({ content }) => content.image)).toEqual(["/picture-of-rowan"]);
    enqueue(addPhone({ id: "p2" }));
    await drain({ imageOf: () => Promise.reject(new Error("the store is busy")) });
    expect(sent.map(({ content }) => content.image)).toEqual(["/picture-of-rowan", undefined]);
    expect(logged.map(({ text }) => text)).toEqual([expect.stringContaining("sent without one")]);
  });
});

/** So many pushes at a time, half of them at services that haven't answered. */
const lanesOf = (total: number) => {
  const unanswering = Math.ceil(total / 2);
  const push = { total, perPerson: total, perService: unanswering, perUnanswering: 1, unanswering };
  return createDeliveryScheduler({ ...defaultDeliveryLimits, push });
};

/** A promise that the test resolves: a push service that answers when the test wants it. */
function openPromise<T>() {
  let open: (value: T) => void = () => {};
  const opened = new Promise<T>((resolve) => {
    open = resolve;
  });
  return { opened, open };
}

describe("the outbox", () => {
  it("delivers what is due to each phone, and is empty then", async () => {
    const { addPhone, enqueue, drain, sent, outbox } = server();
    for (const id of ["one", "two", "three"]) enqueue(addPhone({ id }), { title: "Rowan: food low" });
    expect(await drain()).toEqual({ delivered: 3, waiting: 0, givenUp: 0, phonesGone: 0, nextDueAt: null });
    expect(sent.map(({ phone, feeder }) => `${phone} ${feeder}`)).toEqual(["one rowan", "two rowan", "three rowan"]);
    expect(outbox.phone("one")?.lastAcceptedAt).toBe(start);
    expect((await drain()).delivered).toBe(0);
  });

  it("delivers all that is due, however little it claims at a time", async () => {
    const { addPhone, enqueue, drain, sent } = server();
    const phone = addPhone();
    for (let i = 0; i < 25; i++) enqueue(phone, { topic: `t${i}` });
    expect(await drain({ most: 4 })).toMatchObject({ delivered: 25 });
    expect(sent).toHaveLength(25);
  });

  it("tries again later what a busy push service postponed, until it is accepted", async () => {
    let answers = 3;
    const { addPhone, enqueue, drain, clock, outbox } = server(() => (answers-- > 0 ? busy : accepted));
    const { id } = addPhone();
    enqueue(addPhone({ id }));
    const waits: number[] = [];
    for (;;) {
      const { nextDueAt, delivered } = await drain();
      if (delivered === 1) break;
      if (nextDueAt === null) throw new Error("expected the notification to wait");
      expect((await drain()).waiting).toBe(0); // not before it is due
      expect(outbox.phone(id)?.problem).toBe("HTTP 503");
      waits.push((nextDueAt - clock.at) / 1_000);
      clock.at = nextDueAt;
    }
    expect(waits).toEqual([7.5, 15, 30]); // half of 15, 30, 60 s: the jitter here is 0
    expect(outbox.phone(id)).toMatchObject({ problem: null, lastAcceptedAt: clock.at });
  });

  it("gives up what push services postponed until its time is over", async () => {
    const { addPhone, enqueue, drain, clock, sent } = server(() => busy);
    enqueue(addPhone(), { timeToLive: minutes(10) });
    for (;;) {
      const { nextDueAt, givenUp } = await drain();
      if (givenUp === 1) break;
      if (nextDueAt === null) throw new Error("expected the notification to wait");
      clock.at = nextDueAt;
    }
    expect(clock.at).toBeLessThanOrEqual(past(start, minutes(10)));
    expect(sent.length).toBeGreaterThan(4);
    expect(sent.map(({ content }) => content.timeToLive)).toEqual(
      [...sent.map(({ content }) => content.timeToLive)].sort((a, b) => b - a),
    );
  });

  it("does not send an old notification: yesterday's alarm would mislead", async () => {
    const { addPhone, enqueue, drain, clock, sent, outbox } = server();
    enqueue(addPhone(), { timeToLive: hours(12) });
    clock.at = past(start, hours(13));
    expect(await drain()).toMatchObject({ delivered: 0, givenUp: 1, nextDueAt: null });
    expect(sent).toEqual([]);
    expect(outbox.settled.at(-1)?.settlement).toMatchObject({ kind: "givenUp", problem: "too old to send" });
  });

  it("passes on only the remaining time of a notification", async () => {
    const { addPhone, enqueue, drain, clock, sent } = server();
    enqueue(addPhone(), { timeToLive: hours(12) });
    clock.at = past(start, hours(5));
    await drain();
    expect(sent[0]?.content.timeToLive).toBe(hours(7));
  });

  it("removes a phone that is gone, with all that waits for it", async () => {
    const { addPhone, enqueue, drain, outbox } = server(({ id }) =>
      id === "gone" ? { kind: "subscriptionGone", text: "HTTP 410" } : accepted,
    );
    const gone = addPhone({ id: "gone" });
    enqueue(gone);
    enqueue(addPhone({ id: "stays" }));
    expect(await drain()).toMatchObject({ delivered: 1, phonesGone: 1, nextDueAt: null });
    expect(outbox.phone("gone")).toBeNull();
    expect(outbox.phone("stays")).not.toBeNull();
  });

  it("does not try again what was refused, and shows why", async () => {
    const { addPhone, enqueue, drain, outbox } = server(() => ({ kind: "refused", text: "HTTP 403" }));
    enqueue(addPhone());
    expect(await drain()).toMatchObject({ givenUp: 1, nextDueAt: null });
    expect(outbox.phone("phone")?.problem).toBe("HTTP 403");
  });

  it("lets no hanging push service delay the phones of others", async () => {
    const hanging = openPromise<PushOutcome>();
    const reached = openPromise<void>();
    let others = 0;
    const { addPhone, enqueue, drain } = server(({ endpoint }) => {
      if (endpoint.startsWith("https://hanging.example")) return hanging.opened;
      others++;
      if (others === 10) reached.open();
      return accepted;
    });
    for (let i = 0; i < 10; i++) enqueue(addPhone({ id: `h${i}`, endpoint: `https://hanging.example/${i}` }));
    for (let i = 0; i < 10; i++) enqueue(addPhone({ id: `o${i}`, endpoint: `https://push.example/${i}` }));
    const drained = drain({ scheduler: lanesOf(4), most: 50 });
    await reached.opened; // all others are served while the first are still hanging
    hanging.open(busy);
    expect(await drained).toMatchObject({ delivered: 10, waiting: 10 });
  });

  it("has no more deliveries under way than it may", async () => {
    let underWay = 0;
    let peak = 0;
    const { addPhone, enqueue, drain } = server(async () => {
      underWay++;
      peak = Math.max(peak, underWay);
      await Promise.resolve();
      underWay--;
      return accepted;
    });
    for (let i = 0; i < 30; i++) {
      enqueue(addPhone({ id: `p${i}`, endpoint: `https://push${i % 5}.example/${i}` }));
    }
    expect(await drain({ scheduler: lanesOf(3), most: 50 })).toMatchObject({ delivered: 30 });
    expect(peak).toBe(3);
  });

  it("sends no notification twice although two drain at once", async () => {
    const { addPhone, enqueue, drain, sent } = server();
    for (let i = 0; i < 30; i++) enqueue(addPhone({ id: `p${i}` }));
    const drained = await Promise.all([drain({ most: 7 }), drain({ most: 7 }), drain({ most: 7 })]);
    expect(drained.map(({ delivered }) => delivered).reduce((a, b) => a + b)).toBe(30);
    expect(new Set(sent.map(({ phone }) => phone)).size).toBe(sent.length);
  });

  it("sends again after a crash between sending and settling, once the claim has run out", async () => {
    const { addPhone, enqueue, drain, outbox, clock, sent, logged } = server();
    enqueue(addPhone());
    const settle = outbox.settle.bind(outbox);
    outbox.settle = () => Promise.reject(new Error("the power went"));
    expect(await drain()).toMatchObject({ delivered: 0, nextDueAt: past(start, minutes(1)) });
    expect(logged).toEqual([{ text: expect.stringContaining("made again"), err: new Error("the power went") }]);
    outbox.settle = settle;
    expect((await drain()).delivered).toBe(0); // still claimed
    clock.at = past(start, minutes(1));
    expect((await drain()).delivered).toBe(1);
    expect(sent).toHaveLength(2);
  });

  it("begins no delivery whose claim could run out before its end", async () => {
    const { addPhone, enqueue, drain, clock, sent, outbox } = server();
    enqueue(addPhone());
    const claim = outbox.claim.bind(outbox);
    outbox.claim = async (...of) => {
      const claimed = await claim(...of);
      if (claimed.length > 0) clock.at = past(clock.at, seconds(26)); // the disk was slow
      return claimed;
    };
    expect(await drain()).toMatchObject({ delivered: 0, nextDueAt: past(start, minutes(1)) });
    expect(sent).toEqual([]);
    outbox.claim = claim;
    clock.at = past(start, minutes(1));
    expect((await drain()).delivered).toBe(1);
  });

  it("sends what is urgent before the 300 that wait for a hanging service, in a round of its own", async () => {
    const hanging = openPromise<PushOutcome>();
    const { addPhone, enqueue, drain, sent, outbox } = server(({ endpoint }) =>
      endpoint.startsWith("https://hanging.example") ? hanging.opened : accepted,
    );
    const lanes = createDeliveryScheduler();
    for (let i = 0; i < 300; i++) {
      enqueue(addPhone({ id: `h${i}`, keeper: `bo-${i % 30}`, endpoint: `https://hanging.example/${i}` }));
    }
    const first = drain({ scheduler: lanes, most: 50 });
    await vi.waitFor(() => expect(sent).toHaveLength(1));
    const stuck = [drain({ scheduler: lanes, most: 50 }), drain({ scheduler: lanes, most: 50 })];
    enqueue(addPhone({ id: "adas" }), { priority: "urgent" });
    stuck.push(drain({ scheduler: lanes, most: 50 }));
    await vi.waitFor(() => expect(outbox.settled).toHaveLength(1)); // whichever of the rounds took it
    expect(sent.map(({ phone }) => phone)).toEqual(["h0", "adas"]);
    lanes.close(); // as at the end of the process: nothing more begins, and what is under way ends
    hanging.open({ ...busy, noAnswer: true });
    expect(await first).toMatchObject({ waiting: 1 });
    await Promise.all(stuck);
    expect(sent).toHaveLength(2);
  });

  it("handles at once that something reached nobody, though the same round still waits for another service", async () => {
    const hanging = openPromise<PushOutcome>();
    const { addPhone, enqueue, drain } = server(({ id }) =>
      id === "hanging" ? hanging.opened : { kind: "refused", text: "HTTP 403" },
    );
    enqueue(addPhone({ id: "hanging", endpoint: "https://hanging.example/1" }));
    enqueue(addPhone({ id: "refused" }));
    const lost = openPromise<void>();
    const drained = drain({ onLost: async () => lost.open() });
    await lost.opened;
    hanging.open(accepted);
    expect(await drained).toMatchObject({ delivered: 1, givenUp: 1 });
  });

  it("names an unexpected error in the log and tries again, and the others go out", async () => {
    const { addPhone, enqueue, drain, logged, outbox } = server(({ id }) => {
      if (id === "bad") throw new TypeError("a mistake in the adapter");
      return accepted;
    });
    enqueue(addPhone({ id: "bad" }));
    enqueue(addPhone({ id: "good" }));
    expect(await drain()).toMatchObject({ delivered: 1, waiting: 1 });
    expect(logged).toEqual([{ text: expect.any(String), err: new TypeError("a mistake in the adapter") }]);
    expect(outbox.phone("bad")?.problem).toContain("internal error");
  });
});

describe("an e-mail", () => {
  it("goes to the person's address with the names and the link to its feeder, and has the same id at each attempt", async () => {
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
    expect(written[0]?.email.subject).toBe("Rowan: hopper empty");
    expect(written[0]?.email.text).toContain("Feeder: Rowan. Yard: Alder Croft.");
    expect(written[0]?.email.text).toContain("https://alder.example/pieward/feeders/rowan");
  });

  it("is given up where a mail server refuses it", async () => {
    const { outbox, drain, mail } = server();
    outbox.enqueueEmail("ada", "nobody@alder.example", null, notificationFixture(), start);
    mail.answer = { kind: "refused", text: "550 no such mailbox" };
    expect(await drain()).toMatchObject({ givenUp: 1, nextDueAt: null });
    expect(outbox.settled).toMatchObject([{ settlement: { kind: "givenUp", problem: "550 no such mailbox" } }]);
  });

  it("that hangs delays no phone", async () => {
    const { outbox, drain, addPhone, enqueue, mail, sent } = server();
    const stuck = openPromise<EmailOutcome>();
    mail.send = () => stuck.opened;
    for (let i = 0; i < 8; i++)
      outbox.enqueueEmail(`person-${i}`, "x@alder.example", null, notificationFixture(), start);
    for (let i = 0; i < 4; i++) enqueue(addPhone({ id: `phone-${i}` }));
    const drained = drain();
    await vi.waitFor(() => expect(sent).toHaveLength(4));
    stuck.open({ kind: "accepted" });
    expect(await drained).toMatchObject({ delivered: 12 });
  });
});

describe("a test push", () => {
  it("returns for each phone what its push service answered, and removes one that is gone", async () => {
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
    expect(await outbox.nextDueAt()).toBeNull(); // nothing is stored to be tried again
  });
});
