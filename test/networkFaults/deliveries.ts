import assert from "node:assert/strict";
import {
  after,
  earlier,
  type Instant,
  later,
  milliseconds,
  minutes,
  type Span,
  seconds,
} from "../../server/domain/instant.ts";
import { createDeliveryScheduler } from "../../server/flows/deliveryScheduler.ts";
import { drainOutbox } from "../../server/flows/outbox.ts";
import type { EmailGateway, OutboxStore, PushGateway } from "../../server/ports.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import type { PushServiceBehaviour } from "../support/pushService.ts";
import type { SmtpBehaviour, SmtpStage } from "../support/smtpServer.ts";
import type { OutboxTestbed } from "./outboxTestbed.ts";

/**
 * Two server processes on one database deliver to two phones and a mailbox, through a push service and a mail server that
 * fail in every way they can, and the processes stop between sending and settling.
 *
 * Goal: no notification is lost (each ends delivered, given up with a reason, replaced by a newer one, or needless), and none
 * comes to a screen twice, except where nobody could know that it had come; then it replaces itself there.
 * Method: the real store, gateways and sockets; the clock is moved by hand, and a delivery takes a random time. All random
 * numbers come from one seed, but the order of what happens side by side depends on the machine.
 */
export interface DeliveryResult {
  readonly notifications: number;
  readonly sent: number;
  readonly taken: number;
  readonly crashes: number;
  readonly answersLost: number;
  readonly twice: number; // taken twice, all where nobody could know
  readonly statuses: Readonly<Record<string, number>>;
}

/** A bug planted on purpose, so that the checks can show that they find it. */
export type PlantedDeliveryBug =
  | "none"
  | "claimsTooShort"
  | "claimsForgotten"
  | "settlesForgotten"
  | "retriesDropped"
  | "idsChange";

const rounds = 25;
const few = { total: 2, perPerson: 2, perService: 2, perUnanswering: 1, unanswering: 2 };
/** The longest that a delivery takes, as main.ts sets it. */
const exchangeMax = { push: seconds(10), email: seconds(30) };
const topics = ["alarm-a", "alarm-b", "alarm-c"];

interface Sending {
  readonly item: string;
  readonly process: Process;
  readonly begun: Instant;
  ended: boolean;
  accepted: boolean;
}

interface Process {
  readonly name: string;
  dead: boolean;
}

export async function simulateDeliveries(
  testbed: OutboxTestbed,
  seed: number,
  plant: PlantedDeliveryBug = "none",
): Promise<DeliveryResult> {
  const random = seededRandom(seed);
  const { push, smtp, clock } = testbed;
  const sendings: Sending[] = [];
  const deadlines = new Map<Sending, Instant>();
  const complaints: unknown[] = [];
  let onEnd = () => {};
  const known = new Set<string>(); // items whose end is written down
  let crashes = 0;
  push.setBehaviour(() => randomPushBehaviour(random));
  smtp.setBehaviour(() => randomSmtpBehaviour(random));

  /** Time goes by while something is sent, but never past the end of another delivery that is under way. */
  const timed = async <T>(process: Process, item: string, most: Span, deliver: () => Promise<T>): Promise<T> => {
    const begun = clock.now();
    assert.ok(!known.has(item), `seed ${seed}: ${item} is sent again, though how it ended was written down`);
    const other = sendings.find((one) => one.item === item && !one.ended && !one.process.dead);
    assert.ok(!other, `seed ${seed}: ${item} is sent by ${process.name} while ${other?.process.name} is at it`);
    const sending: Sending = { item, process, begun, ended: false, accepted: false };
    sendings.push(sending);
    deadlines.set(sending, after(begun, most));
    try {
      const outcome = await deliver();
      const end = after(begun, milliseconds(Math.floor(most * random.uniform() ** 2)));
      clock.moveTo(later(clock.now(), [...deadlines.values()].reduce(earlier, end)));
      sending.accepted = (outcome as { kind: string }).kind === "accepted";
      return outcome;
    } finally {
      sending.ended = true;
      deadlines.delete(sending);
      onEnd();
    }
  };

  const processes = testbed.stores.map((store, index) => {
    const process: Process = { name: `process ${index + 1}`, dead: false };
    const alive = () => {
      if (process.dead) throw new Error("the power went");
    };
    const outbox: OutboxStore = {
      ...store.outbox,
      async claim(channel, now, until, most, capacity) {
        alive();
        return testbed.runExclusively(() => {
          if (plant === "claimsForgotten") testbed.forgetClaims();
          return store.outbox.claim(channel, now, until, most, capacity);
        });
      },
      async settle(item, settlement) {
        if (random.isTrueWith(0.04)) {
          process.dead = true;
          crashes++;
        }
        alive();
        if (settlement.kind !== "retry") known.add(item.id); // as far as the process knows
        if (plant === "settlesForgotten" && random.isTrueWith(0.5)) return;
        const dropped = plant === "retriesDropped" && settlement.kind === "retry";
        const written = dropped ? { kind: "delivered" as const, at: clock.now() } : settlement;
        await testbed.runExclusively(() => store.outbox.settle(item, written));
      },
    };
    const pushes: PushGateway = {
      ...testbed.pushes,
      async send(phone, feeder, notice, now, item) {
        alive();
        return timed(process, item, exchangeMax.push, () => testbed.pushes.send(phone, feeder, notice, now, item));
      },
    };
    const emails: EmailGateway = {
      isConfigured: true,
      async send(to, email, id, writtenAt) {
        alive();
        const sentAs = plant === "idsChange" ? `${id}-${sendings.length}` : id;
        return timed(process, id, exchangeMax.email, () => testbed.emails.send(to, email, sentAs, writtenAt));
      },
    };
    const limits = {
      // A claim that holds for less than a delivery: the other process takes the item while it is still under way.
      attemptMax: plant === "claimsTooShort" ? { push: seconds(-4), email: seconds(-4) } : exchangeMax,
      queueMax: plant === "claimsTooShort" ? seconds(0) : seconds(5),
      most: 3,
      scheduler: createDeliveryScheduler({ push: few, email: few }),
      jitter: () => random.uniform(),
      publicUrl: "https://pieward.example",
      log: { error: ({ err }: { readonly err: unknown }) => complaints.push(err) },
    };
    const drain = async () => {
      await drainOutbox({ clock, store: { outbox }, push: pushes, email: emails }, limits).catch((error: unknown) => {
        if (!process.dead) throw error;
      });
    };
    return { process, drain };
  });

  /** Rethrows what the flow took for a fault of a gateway and logged. */
  const throwMistakes = () => {
    const found = complaints.find((error) => !(error instanceof Error && error.message === "the power went"));
    if (found !== undefined) throw found;
  };

  let notifications = 0;
  for (let round = 0; round < rounds; round++) {
    for (let count = Math.floor(random.between(0, 3)); count > 0; count--) {
      notifications++;
      const channel = random.isTrueWith(0.5) ? "push" : "email";
      const timeToLive = random.isTrueWith(0.2) ? minutes(3) : minutes(600);
      const closes = random.isTrueWith(0.15) ? { isClosing: true as const } : {};
      const topic = topics[Math.floor(random.uniform() * topics.length)] ?? "alarm-a";
      await testbed.enqueue(
        channel,
        notificationFixture({ title: `notification ${notifications}`, topic, timeToLive, ...closes }),
      );
    }
    const [first, second] = random.isTrueWith(0.5) ? processes : [...processes].reverse();
    const drained = first?.drain();
    if (random.isTrueWith(0.6)) {
      // The second starts while the first is in the middle of it.
      await Promise.race([
        drained,
        new Promise<void>((resolve) => {
          onEnd = resolve;
        }),
      ]);
      await second?.drain();
    }
    await drained;
    throwMistakes();
    for (const { process } of processes) process.dead = false;
    clock.moveTo(after(clock.now(), milliseconds(Math.floor(random.exponential(25_000)))));
  }

  push.setBehaviour({ kind: "accept" });
  smtp.setBehaviour({ kind: "accept" });
  for (let round = 0; round < 100; round++) {
    const next = await testbed.stores[0]?.outbox.nextDueAt();
    if (next === null || next === undefined) break;
    clock.moveTo(later(clock.now(), next));
    await Promise.all(processes.map((one) => one.drain()));
    for (const { process } of processes) process.dead = false;
  }
  throwMistakes();
  return checkDeliveries(testbed, seed, { notifications, sendings, crashes });
}

/** Compares the database's state of each item with what the servers took. */
function checkDeliveries(
  testbed: OutboxTestbed,
  seed: number,
  { notifications, sendings, crashes }: { notifications: number; sendings: readonly Sending[]; crashes: number },
): DeliveryResult {
  assert.deepEqual([...testbed.push.complaints, ...testbed.smtp.complaints], [], `seed ${seed}: a server complains`);
  const statuses: Record<string, number> = {};
  const messageIds = new Map<string, Set<string>>();
  for (const { subject, messageId } of testbed.smtp.emails) {
    messageIds.set(subject, (messageIds.get(subject) ?? new Set()).add(messageId));
  }
  let twice = 0;
  let answersLost = 0;
  for (const { id, status, problem, channel, phone, title, topic } of testbed.items()) {
    statuses[status] = (statuses[status] ?? 0) + 1;
    const pushed = testbed.push.acceptedCount.filter(({ payload }) => payload.notification.data.item === id);
    const posted = testbed.smtp.emails.filter(({ subject }) => channel === "email" && subject === title);
    const taken = channel === "push" ? pushed.length : posted.length;
    const tries = sendings.filter(({ item }) => item === id);
    const what = `seed ${seed}: ${title} by ${channel}, ${status}, taken ${taken} times of ${tries.length}`;
    assert.ok(["delivered", "givenUp", "replaced", "needless"].includes(status), `${what}: lost on the way`);
    assert.ok(status !== "givenUp" || problem !== null, `${what}: given up without a reason`);
    assert.ok(status !== "delivered" || taken > 0, `${what}: called delivered, and nobody has it`);
    assert.ok(taken <= tries.length, what);
    answersLost += taken - tries.filter(({ accepted }) => accepted).length;
    if (taken > 1) {
      twice++;
      // It takes its own place: on the way by its Topic, on the screen by its tag, in a mailbox by its Message-ID.
      for (const message of pushed) assert.equal(message.phone, phone, what);
      assert.ok(new Set(pushed.map((message) => message.topic)).size <= 1, `${what}: under several topics`);
      for (const { payload } of pushed) assert.equal(payload.notification.tag, topic, what);
      assert.ok((messageIds.get(title)?.size ?? 0) <= 1, `${what}: an email with several ids`);
    }
  }
  checkOrder(testbed, seed);
  const taken = testbed.push.acceptedCount.length + testbed.smtp.emails.length;
  return { notifications, sent: sendings.length, taken, crashes, answersLost, twice, statuses };
}

/** What a screen shows of a topic is never replaced by an older notification. */
function checkOrder(testbed: OutboxTestbed, seed: number): void {
  const newest = new Map<string, number>();
  for (const { phone, payload } of testbed.push.acceptedCount) {
    const screen = `${phone} ${payload.notification.tag}`;
    const number = Number(payload.notification.title.split(" ")[1]);
    const before = newest.get(screen) ?? 0;
    assert.ok(number >= before, `seed ${seed}: notification ${number} came to a screen after notification ${before}`);
    newest.set(screen, number);
  }
}

function randomPushBehaviour(random: RandomSource): PushServiceBehaviour {
  const answer = (status: number, headers = {}): PushServiceBehaviour => ({ kind: "answer", status, headers });
  return oneOf<PushServiceBehaviour>(random, 0.5, { kind: "accept" }, [
    answer(400),
    answer(401),
    answer(403),
    answer(413),
    answer(429, { "retry-after": String(Math.floor(random.between(0, 300))) }),
    answer(500),
    answer(502),
    answer(503, { "retry-after": "20" }),
    { kind: "hang" },
    { kind: "cutLine" },
    { kind: "acceptAndCut" },
    { kind: "acceptAndCut" },
    { kind: "redirect", to: "https://127.0.0.1:1/" },
  ]);
}

function randomSmtpBehaviour(random: RandomSource): SmtpBehaviour {
  const stages: readonly SmtpStage[] = ["banner", "hello", "sender", "recipient", "data", "answer"];
  const at = stages[Math.floor(random.uniform() * stages.length)] ?? "banner";
  return oneOf<SmtpBehaviour>(random, 0.4, { kind: "accept" }, [
    { kind: "say", at: "sender", reply: "550 5.7.1 not you" },
    { kind: "say", at: "recipient", reply: "451 4.7.1 try again" },
    { kind: "say", at: "banner", reply: "421 4.3.2 come back" },
    { kind: "say", at: "answer", reply: "452 4.3.1 no room" },
    { kind: "cutLine", at },
    { kind: "cutLine", at: "answer" },
    { kind: "hang", at },
    { kind: "delay", at, milliseconds: 2 },
  ]);
}

const oneOf = <T>(random: RandomSource, usually: number, usual: T, others: readonly T[]): T =>
  random.isTrueWith(usually) ? usual : (others[Math.floor(random.uniform() * others.length)] ?? usual);
