import { describe, expect, it, onTestFinished, vi } from "vitest";
import { mqttMessageSchemas } from "../../server/contract/mqttMessages.ts";
import { hours, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { type BrokerFeeder, connectFeeder } from "../support/brokerFeeder.ts";
import { addBrokerFeeder, openBrokerServer, openServerFor, serverConnected } from "../support/brokerServer.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { requestAs } from "../support/people.ts";
import type { TestServer } from "../support/testServer.ts";

/** What waits at the broker for a feeder that is away. */

const order = (server: TestServer, feeder: string, given: object) =>
  requestAs(server, "POST", `/api/v1/feeders/${feeder}/orders`, server.keeper, given);
const report = (seq: number, more: object = {}) => ({ boot: "b-1", sentUptimeMs: 9_000 + seq, ...more });
const paused = { readings: { paused: true } };

/** What a feeder that connects now finds. Each look is a session of its own. */
async function look(broker: Parameters<typeof connectFeeder>[0], of: { id: string; key: string }, version: 4 | 5 = 5) {
  const feeder = await connectFeeder(broker, { ...of, version, more: { clientId: "look" } });
  await feeder.publish(""); // its answer comes after what is retained
  await feeder.next("answer");
  const found = {
    orders: feeder.hasNone("orders") ? null : await feeder.next("orders"),
    plan: feeder.hasNone("plan") ? null : await feeder.next("plan"),
  };
  await feeder.end();
  return found;
}

const settled = (feeder: BrokerFeeder) => feeder.report(report(90)); // what came before it has been handled

describe("an order for a feeder that is away", () => {
  it.each([4, 5] as const)("waits at the broker until it is answered (feeder with protocol %i)", async (version) => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    expect((await look(broker, rowan, version)).orders).toBe(null);
    await order(server, rowan.id, { id: "order-0001", kind: "pause" });
    // That the broker has it proves nothing about the feeder.
    expect((await server.runPeriodicCheck(rowan.id)).pause.order).toMatchObject({
      id: "order-0001",
      status: "requested",
    });
    const found = (await look(broker, rowan, version)).orders;
    const { packet, ...message } = found;
    expect(mqttMessageSchemas.orders.strict().parse(message)).toEqual({
      until: isoOf((server.clock.now() + hours(1)) as never),
      orders: [{ id: "order-0001", kind: "pause", until: null }],
    });
    expect(packet.retain).toBe(true);
    if (version === 5) expect(packet.properties.messageExpiryInterval).toBeGreaterThan(3_500);

    const feeder = await rowan.connect({ version });
    expect((await feeder.next("orders")).orders).toHaveLength(1);
    const events = [{ seq: 1, uptimeMs: 9_001, kind: "order", order: "order-0001", outcome: "done" }];
    await feeder.report(report(1, { ...paused, events }));
    expect(await feeder.next("orders")).toBe(null); // cleared: an empty message
    expect((await server.runPeriodicCheck(rowan.id)).pause.order).toMatchObject({ status: "confirmed" });
    expect((await look(broker, rowan, version)).orders).toBe(null);
  });

  it("is gone once it was answered over HTTP", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    await order(server, rowan.id, { id: "order-0001", kind: "pause" });
    expect((await look(broker, rowan)).orders).not.toBe(null);
    const events = [{ seq: 1, uptimeMs: 9_001, kind: "order", order: "order-0001", outcome: "done" }];
    await server.report(rowan.key, report(1, { ...paused, events }));
    expect((await look(broker, rowan)).orders).toBe(null);
  });

  it("reaches one that listens at once, the newest in place of the one before", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    await settled(feeder);
    while (!feeder.hasNone("orders")) await feeder.next("orders");
    await order(server, rowan.id, { id: "order-0001", kind: "pause" });
    expect(await feeder.next("orders")).toMatchObject({ orders: [{ id: "order-0001" }] });
    await order(server, rowan.id, { id: "order-0002", kind: "resume" });
    expect((await feeder.next("orders")).orders.at(-1)).toMatchObject({ id: "order-0002", kind: "resume" });
  });

  it("expires with its own end, also where nobody takes it back", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const end = isoOf((server.clock.now() + seconds(2)) as never);
    expect((await order(server, rowan.id, { id: "order-0001", kind: "pause", until: end })).statusCode).toBe(200);
    expect((await look(broker, rowan)).orders).toMatchObject({ until: end });
    await server.close();
    const gone = async () => expect((await retainedNow(broker, rowan)).orders).toBe(null);
    await vi.waitFor(gone, { timeout: 15_000, interval: 300 });
  });

  it("is renewed at half its time, and not before", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    await order(server, rowan.id, { id: "order-0001", kind: "pause" });
    const first = (await look(broker, rowan)).orders.until;
    server.clock.advance(minutes(29));
    server.ports.retainedMessages.renew();
    expect((await look(broker, rowan)).orders.until).toBe(first);
    server.clock.advance(minutes(1));
    server.ports.retainedMessages.renew();
    expect((await look(broker, rowan)).orders.until).toBe(isoOf((server.clock.now() + hours(1)) as never));
  });

  it("is gone when the feeder is removed", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    await order(server, rowan.id, { id: "order-0001", kind: "pause" });
    expect((await look(broker, rowan)).orders).not.toBe(null);
    await requestAs(server, "DELETE", `/api/v1/feeders/${rowan.id}`, server.keeper);
    await vi.waitFor(async () => expect((await retainedNow(broker, rowan)).orders).toBe(null), { timeout: 10_000 });
  });

  it("that was answered or given while the broker was away is made right when it is back", async () => {
    const { broker, server } = await openBrokerServer();
    const [rowan, larch] = [await addBrokerFeeder(server, broker), await addBrokerFeeder(server, broker)];
    await order(server, rowan.id, { id: "order-0001", kind: "pause" });
    expect((await look(broker, rowan)).orders).not.toBe(null);
    await server.close();
    const other = await openServerFor(broker.port); // a server that knows nothing of it stands for one restored from a backup
    onTestFinished(() => other.close());
    await serverConnected(other);
    expect((await retainedNow(broker, rowan)).orders).toMatchObject({ orders: [{ id: "order-0001" }] }); // it has no such feeder
    await other.close();
    const again = await server.restart();
    await order(again, rowan.id, { id: "order-0002", kind: "resume" });
    await order(again, larch.id, { id: "order-0003", kind: "pause" });
    await serverConnected(again);
    await vi.waitFor(async () => {
      expect((await look(broker, rowan)).orders.orders.at(-1)).toMatchObject({ id: "order-0002" });
      expect((await look(broker, larch)).orders.orders.at(-1)).toMatchObject({ id: "order-0003" });
    });
  });
});

/** Without the server, which may be gone. */
async function retainedNow(broker: Parameters<typeof connectFeeder>[0], of: { id: string; key: string }) {
  const feeder = await connectFeeder(broker, { ...of, more: { clientId: "look" } });
  await feeder.client.unsubscribeAsync("pieward/nothing"); // its acknowledgement comes after what is retained
  const found = { orders: feeder.hasNone("orders") ? null : await feeder.next("orders") };
  await feeder.end();
  return found;
}

describe("a plan", () => {
  it("waits at the broker until the feeder follows it", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
    await requestAs(server, "PATCH", `/api/v1/feeders/${rowan.id}`, server.keeper, { feeding: feedingExample });
    const { packet, ...message } = (await look(broker, rowan)).plan;
    const { plan, until } = mqttMessageSchemas.plan.strict().parse(message);
    expect([plan?.days.length, until]).toEqual([14, isoOf((server.clock.now() + hours(24)) as never)]);
    const feeder = await rowan.connect();
    await feeder.report(report(1, { readings: { planVersion: plan?.version } }));
    expect((await look(broker, rowan)).plan).toBe(null);
    // The keeper takes it away, and the feeder still follows it.
    await requestAs(server, "PATCH", `/api/v1/feeders/${rowan.id}`, server.keeper, { feeding: null });
    expect((await look(broker, rowan)).plan).toMatchObject({ plan: null });
    await feeder.report(report(2, { readings: { planVersion: null } }));
    expect((await look(broker, rowan)).plan).toBe(null);
  });
});
