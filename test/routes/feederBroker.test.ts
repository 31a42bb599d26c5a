import { describe, expect, it, vi } from "vitest";
import { mqttMessageSchemas, mqttTopic } from "../../server/contract/mqttMessages.ts";
import { reportExample } from "../../server/contract/reportExample.ts";
import { minutes } from "../../server/domain/instant.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { texts } from "../../server/text/index.ts";
import { connectFeeder } from "../support/brokerFeeder.ts";
import { addBrokerFeeder, openBrokerServer } from "../support/brokerServer.ts";
import type { TestServer } from "../support/testServer.ts";

/** Reports over a real broker of the distribution, with the access list of `deploy/broker`. */

const presses = (...seqs: number[]) => ({
  boot: "b-1",
  sentUptimeMs: 9_000,
  events: seqs.map((seq) => ({ seq, uptimeMs: 5, kind: "press" })),
});

const storedPresses = async (server: TestServer, feeder: string) =>
  server.store.transaction(async (tx) => [...(await tx.storedEventBodies(feeder, "b-1", [1, 2, 3, 4, 5])).keys()]);

const refusalOf = (message: { problem: { status: number; errors?: { problem: string }[]; detail: string } }) => [
  message.problem.status,
  message.problem.errors?.[0]?.problem ?? message.problem.detail,
];

describe("a report over the broker", () => {
  it.each([
    ["3.1.1", 4, "5"],
    ["5", 5, "5"],
    ["5, where the server has 3.1.1", 5, "3.1.1"],
  ] as const)(
    "by MQTT %s is stored once though it is published twice, and answered each time",
    async (_, version, own) => {
      const { broker, server } = await openBrokerServer({ version: own });
      const rowan = await addBrokerFeeder(server, broker);
      const feeder = await rowan.connect({ version });
      const first = await feeder.report(presses(1, 2));
      expect(first).toMatchObject({ answer: { storedThrough: 2, duplicates: 0 } });
      const { packet, ...message } = first;
      expect(mqttMessageSchemas.answer.strict().parse(message).to).toMatch(/^[\w-]{43}$/);
      expect(packet.qos).toBe(1);
      const again = feeder.signed(presses(1, 2));
      for (const payload of [again, again]) await feeder.publish(payload);
      for (let count = 0; count < 2; count += 1)
        expect(await feeder.next("answer")).toMatchObject({ answer: { storedThrough: 2, duplicates: 2 } });
      expect(await feeder.report(presses(1, 2, 3))).toMatchObject({ answer: { storedThrough: 3, duplicates: 2 } });
      // What was stored over the broker is a repeat over HTTP, too.
      expect((await server.report(rowan.key, presses(3))).body).toMatchObject({ duplicates: 1 });
      expect(await storedPresses(server, rowan.id)).toEqual([1, 2, 3]);
    },
  );

  it("has the same body and the same answer as over HTTP, and says which report the answer is to", async () => {
    const { broker, server } = await openBrokerServer();
    const [rowan, larch] = [await addBrokerFeeder(server, broker), await addBrokerFeeder(server, broker)];
    const feeder = await rowan.connect();
    await feeder.publish("");
    expect(await feeder.next("answer")).toMatchObject({ to: null, problem: { status: 401 } });
    const payload = feeder.signed(reportExample);
    const correlationData = Buffer.from("42");
    await feeder.client.publishAsync(mqttTopic(rowan.id, "report"), payload, {
      qos: 1,
      properties: { correlationData },
    });
    const { answer, to, packet } = await feeder.next("answer");
    expect(answer).toEqual((await server.report(larch.key, reportExample)).body);
    expect(to).toBe(/mac="([^"]+)"/.exec(payload)?.[1]);
    expect(packet.properties.correlationData.toString()).toBe("42");
  });

  it("may be signed with the time by a feeder that has a clock", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    const [time, body] = [String(server.clock.now() / 1_000), JSON.stringify(presses(1))];
    const mac = signatureOf(hashOf(rowan.key), time, body);
    await feeder.publish(`Signature feeder="${rowan.id}", time="${time}", mac="${mac}"\n${body}`);
    expect(await feeder.next("answer")).toMatchObject({ to: mac, answer: { storedThrough: 1 } });
  });

  it("that waited longer than its nonce holds is refused with a fresh one, and loses nothing", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    await feeder.report(presses(1));
    const late = feeder.signed(presses(1, 2));
    server.clock.advance(minutes(6));
    await feeder.publish(late);
    expect(refusalOf(await feeder.next("answer"))).toEqual([401, texts.feederKeys.staleNonce]);
    await feeder.publish(feeder.signed(presses(1, 2)));
    expect(await feeder.next("answer")).toMatchObject({ answer: { storedThrough: 2, duplicates: 1 } });
  });

  it("that can't be read or has one bad event is refused in the words of HTTP", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    for (const body of [
      "no JSON",
      JSON.stringify({ boot: 5, sentUptimeMs: 1 }),
      JSON.stringify({ ...presses(1), feeder: "x" }),
    ]) {
      const { problem } = await feeder.report(body);
      expect(problem).toEqual((await server.report(rowan.key, body)).body);
    }
    const partly = await feeder.report({ ...presses(1), readings: { airCelsius: -127 } });
    expect(partly.answer).toMatchObject({ storedThrough: 1, refused: [{ field: "readings.airCelsius" }] });
  });

  it("counts against the feeder's limit together with those over HTTP", async () => {
    const { broker, server } = await openBrokerServer({ reportsPerMinute: 2 });
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    await server.report(rowan.key, presses(1));
    expect(await feeder.report(presses(2))).toMatchObject({ answer: { storedThrough: 2 } });
    expect(await feeder.report(presses(3))).toMatchObject({ problem: { status: 429 } });
    server.clock.advance(minutes(1));
    expect(await feeder.report(presses(3))).toMatchObject({ answer: { storedThrough: 3 } });
  });

  it("larger than a report may be is refused in words", async () => {
    const { broker, server } = await openBrokerServer();
    const feeder = await (await addBrokerFeeder(server, broker)).connect();
    await feeder.publish(Buffer.alloc(1_060_000, "x"));
    expect(refusalOf(await feeder.next("answer"))).toEqual([413, texts.feederBroker.tooLarge]);
  });
});

describe("who a report is from", () => {
  it("is proven by its signature: the broker keeps feeders apart, and the server doesn't rely on that", async () => {
    const { broker, server } = await openBrokerServer();
    const [rowan, larch] = [await addBrokerFeeder(server, broker), await addBrokerFeeder(server, broker)];
    const [own, other] = [await rowan.connect(), await larch.connect()];
    await own.report(presses(1));
    await other.report(presses(1));
    // Over the broker's access list: nothing arrives. MQTT 5 says so to the sender.
    const foreign = own.publish(own.signed(presses(2)), { topic: mqttTopic(larch.id, "report") });
    await expect(foreign).rejects.toMatchObject({ code: 135 });
    // Where the list is too generous, as here by another feeder's own hand: it arrives, and is refused.
    await other.publish(own.signed(presses(2)));
    expect(refusalOf(await other.next("answer"))).toEqual([403, texts.feederBroker.otherTopic(rowan.id)]);
    expect(await storedPresses(server, rowan.id)).toEqual([1]);
  });

  it.each<[string, (key: string, id: string, nonce: string, body: string) => string, string]>([
    ["a key as text", (key, _, __, body) => `Bearer ${key}\n${body}`, texts.feederBroker.unsigned],
    ["no signature", (_, __, ___, body) => body, texts.feederBroker.unsigned],
    [
      "a signature with another key",
      (_, id, nonce, body) =>
        `Signature feeder="${id}", nonce="${nonce}", mac="${signatureOf(hashOf("pw_x"), nonce, body)}"\n${body}`,
      texts.feederKeys.wrongSignature,
    ],
    [
      "the signature of another body",
      (key, id, nonce, body) =>
        `Signature feeder="${id}", nonce="${nonce}", mac="${signatureOf(hashOf(key), nonce, body)}"\n${body} `,
      texts.feederKeys.wrongSignature,
    ],
    [
      "a nonce of its own",
      (key, id, _, body) =>
        `Signature feeder="${id}", nonce="1.x", mac="${signatureOf(hashOf(key), "1.x", body)}"\n${body}`,
      texts.feederKeys.staleNonce,
    ],
  ])("is not proven by %s", async (_, forged, reason) => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    await feeder.report(presses(1));
    await feeder.publish(forged(rowan.key, rowan.id, feeder.nonce, JSON.stringify(presses(2))));
    expect(refusalOf(await feeder.next("answer"))).toEqual([401, reason]);
    expect(await storedPresses(server, rowan.id)).toEqual([1]);
    const security = server.log.map((line) => JSON.parse(line)).filter(({ msg }) => msg === "security");
    expect(security.at(-1)).toMatchObject({ event: "feederKeyRefused", feeder: rowan.id, why: reason });
    expect(server.log.join()).not.toContain(rowan.key);
  });

  it("is refused more briefly after sixty wrong tries, and a right signature is still taken", async () => {
    const { broker, server } = await openBrokerServer();
    const feeder = await (await addBrokerFeeder(server, broker)).connect();
    for (let count = 0; count < 61; count += 1) await feeder.publish("");
    let last = await feeder.next("answer");
    for (let count = 1; count < 61; count += 1) last = await feeder.next("answer");
    expect(last).toMatchObject({ problem: { status: 429, detail: texts.refusals.tooManyWrongKeys } });
    expect(await feeder.report(presses(1))).toMatchObject({ answer: { storedThrough: 1 } });
  });
});

describe("a last will", () => {
  it("makes the server look, at most once a minute, and is no verdict: the feeder is as silent as its reports say", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const will = {
      topic: mqttTopic(rowan.id, "status"),
      payload: Buffer.from('{"online":false}'),
      qos: 1,
      retain: true,
    } as const;
    const stepsOf = async () => (await server.store.yards.feeder(rowan.id))?.revision ?? 0;
    const feeder = await rowan.connect({ more: { will } });
    await feeder.report(presses(1));
    const before = await stepsOf();
    feeder.break();
    await vi.waitFor(async () => expect(await stepsOf()).toBe(before + 1), { timeout: 10_000 });
    const view = await server.runPeriodicCheck(rowan.id);
    expect(view.alarms).toEqual([]);
    expect(JSON.stringify(view)).not.toMatch(/online|offline/i);

    const again = await connectFeeder(broker, { id: rowan.id, key: rowan.key, more: { will } });
    for (let count = 0; count < 5; count += 1)
      await again.client.publishAsync(will.topic, '{"online":false}', { qos: 1 });
    await again.report(presses(1, 2)); // handled after them
    expect(await stepsOf()).toBe(before + 2); // the report's own step
  });

  it("of any form hints at nothing else", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    for (const text of ["", "no JSON", '{"online":true}', "[]", '{"online":"no"}', "x".repeat(5_000)])
      await feeder.client.publishAsync(mqttTopic(rowan.id, "status"), text, { qos: 1 });
    await feeder.report(presses(1));
    expect((await server.store.yards.feeder(rowan.id))?.revision).toBe(1);
  });
});
