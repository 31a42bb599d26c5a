import { once } from "node:events";
import { type AddressInfo, connect, createServer } from "node:net";
import { describe, expect, it, onTestFinished, vi } from "vitest";
import { connectProblem, endProblem } from "../../server/adapters/brokerProblems.ts";
import { type BrokerOptions, createMqttBroker } from "../../server/adapters/mqttBroker.ts";
import { mqttTopic } from "../../server/contract/mqttMessages.ts";
import {
  addBrokerFeeder,
  brokerLines,
  openBrokerServer,
  openServerFor,
  serverConnected,
} from "../support/brokerServer.ts";
import { freePort, serverPassword, startBroker } from "../support/mosquitto.ts";
import { testOnlyCertificate } from "../support/testOnlyCertificate.ts";
import { manualClock, openTestServer, type TestServer } from "../support/testServer.ts";

/** The connection to the keeper's own broker: how it comes back, and what is said where it can't be made. */

const presses = (...seqs: number[]) => ({
  boot: "b-1",
  sentUptimeMs: 9_000,
  events: seqs.map((seq) => ({ seq, uptimeMs: 5, kind: "press" })),
});
const patience = { timeout: 20_000, interval: 20 };

/** A connection of its own, without a server around it. @returns the lines of its log */
function connectAlone(options: Partial<BrokerOptions> & { readonly port: number }): { lines: string[] } {
  const lines: string[] = [];
  const write = (text: string) => void lines.push(text);
  const login = { user: "pieward", password: serverPassword };
  const usual: BrokerOptions = { host: "localhost", secure: false, login, version: "5", ca: null, port: options.port };
  const broker = createMqttBroker({ ...usual, ...options }, manualClock());
  const nothing = { takeReport: async () => undefined, takeStatus: () => undefined, connected: () => undefined };
  broker.open(nothing, { info: write, warn: write });
  onTestFinished(() => broker.close());
  return { lines };
}

/** A way to the broker on which each try is counted. */
async function countedPort(to: number, host = "127.0.0.1"): Promise<{ port: number; tries: () => number }> {
  let tries = 0;
  const server = createServer((socket) => {
    tries += 1;
    const on = connect(to, "127.0.0.1");
    socket.pipe(on).pipe(socket);
    for (const one of [socket, on]) one.on("error", () => [socket, on].map((each) => each.destroy()));
  }).listen(0, host);
  await once(server, "listening");
  onTestFinished(() => void server.close());
  return { port: (server.address() as AddressInfo).port, tries: () => tries };
}

describe("a broker that can't be used is named in words, once for all tries", () => {
  it.each([4, 5])("with a wrong password (protocol %i)", async (protocol) => {
    const { port, tries } = await countedPort((await startBroker()).port);
    const version = protocol === 5 ? "5" : "3.1.1";
    const { lines } = connectAlone({ port, version, login: { user: "pieward", password: "birds" } });
    await vi.waitFor(() => expect(tries()).toBe(3), patience);
    expect(lines).toEqual([
      expect.stringMatching(/^MQTT: mqtt:\/\/localhost:\d+ is not connected: .+ The server goes on, and tries again$/),
    ]);
    expect(lines[0]).toMatch(/the broker (knows no such user and password|doesn't allow this user to connect)/);
    expect(lines[0]).not.toContain("birds");
  });

  it("with a certificate of an authority that isn't known, until that is named", async () => {
    const broker = await startBroker({ tls: true });
    const { port, tries } = await countedPort(broker.port);
    const { lines } = connectAlone({ port, secure: true });
    await vi.waitFor(() => expect(tries()).toBe(3), patience);
    expect(lines).toEqual([expect.stringContaining("name that authority's certificate in MQTT_CA_FILE")]);
    const trusting = connectAlone({ port: broker.port, secure: true, ca: testOnlyCertificate });
    await vi.waitFor(
      () =>
        expect(trusting.lines).toEqual([
          expect.stringMatching(/^MQTT: connected to mqtts:\/\/localhost:\d+ with version 5$/),
        ]),
      patience,
    );
  });

  it("with a certificate for another name", async () => {
    const { port } = await startBroker({ tls: true });
    const { lines } = connectAlone({
      host: "127.0.0.2",
      port: (await countedPort(port, "127.0.0.2")).port,
      secure: true,
      ca: testOnlyCertificate,
    });
    await vi.waitFor(
      () => expect(lines).toEqual([expect.stringContaining("its certificate is for another name")]),
      patience,
    );
  });

  it("where nothing listens", async () => {
    const { lines } = connectAlone({ port: await freePort() });
    await vi.waitFor(() => expect(lines).toEqual([expect.stringContaining("nothing listens there")]), patience);
  });

  it.each([
    ["TLS on a port without it", { secure: true }, false, /does not speak TLS|ended the connection/],
    ["no TLS on a port with it", {}, true, /closed the connection before it answered|ended the connection/],
  ])("with %s", async (_, options, tls, words) => {
    const { port } = await startBroker({ tls });
    const { lines } = connectAlone({ port, ...options });
    await vi.waitFor(() => expect(lines).toEqual([expect.stringMatching(words)]), patience);
  });

  it("where its access list doesn't let the server write", async () => {
    const broker = await startBroker();
    broker.addUser("stranger", "x");
    const server = await openTestServer({
      logs: true,
      broker: (clock) =>
        createMqttBroker(
          {
            host: "127.0.0.1",
            port: broker.port,
            secure: false,
            login: { user: "stranger", password: "x" },
            version: "5",
            ca: null,
          },
          clock,
        ),
    });
    await serverConnected(server);
    const step = async (name: string) => server.report((await server.addFeeder({ name })).key, presses(1));
    await step("Rowan");
    const denied = (topic: string) =>
      `MQTT: the broker doesn't let this server write to ${mqttTopic("+", topic as never)}; check its access list`;
    await vi.waitFor(
      () => expect(brokerLines(server)).toEqual(expect.arrayContaining([denied("orders"), denied("plan")])),
      patience,
    );
    for (const name of ["Larch", "Birch"]) await step(name);
    expect(brokerLines(server).filter((line) => line === denied("orders"))).toHaveLength(1);
  });

  it("whatever the reason, known or not", () => {
    expect(connectProblem(Object.assign(new Error("x"), { code: "CERT_HAS_EXPIRED" }))).toContain("has expired");
    expect(connectProblem(Object.assign(new Error("odd"), { code: "EODD" }))).toBe("odd (EODD)");
    expect(connectProblem(Object.assign(new Error("x"), { code: 132 }))).toContain("MQTT_VERSION");
    expect(connectProblem(Object.assign(new Error("x"), { code: 1 }))).toContain("MQTT_VERSION");
    expect(connectProblem(Object.assign(new Error("x"), { code: 77 }))).toContain("code 77");
    expect(connectProblem(new Error("connack timeout"))).toContain("does not answer");
    expect([endProblem(142), endProblem(77)]).toEqual([
      expect.stringContaining("second server"),
      expect.stringContaining("77"),
    ]);
  });
});

describe("the server", () => {
  it("goes on without its broker, and uses it again when it is back", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    expect(await feeder.report(presses(1))).toMatchObject({ answer: { storedThrough: 1 } });
    await broker.kill();
    await vi.waitFor(async () => expect((await health(server)).broker).toBe("notConnected"), patience);
    expect((await server.report(rowan.key, presses(1, 2))).body).toMatchObject({ storedThrough: 2 });
    await vi.waitFor(() => expect(brokerLines(server)).toHaveLength(2), patience);
    await broker.start();
    await serverConnected(server);
    await feeder.publish(feeder.signed(presses(1, 2, 3)));
    expect(await feeder.next("answer")).toMatchObject({ answer: { storedThrough: 3, duplicates: 2 } });
    const lines = brokerLines(server);
    expect(lines[0]).toContain("connected to mqtt://127.0.0.1");
    expect(lines.at(-1)).toBe(lines[0]);
    expect(lines.slice(1, -1).every((line) => line.includes("is not connected"))).toBe(true);
    expect(lines.length).toBeLessThanOrEqual(4);
  });

  it.each(["5", "3.1.1"] as const)(
    "takes after a restart the reports that waited at the broker (server with %s)",
    async (version) => {
      const { broker, server } = await openBrokerServer({ version });
      const rowan = await addBrokerFeeder(server, broker);
      const feeder = await rowan.connect();
      await feeder.report(presses(1));
      await server.close();
      await feeder.publish(feeder.signed(presses(1, 2)));
      await feeder.publish(feeder.signed(presses(1, 2, 3)));
      expect(feeder.hasNone("answer")).toBe(true);
      const again = await server.restart();
      await serverConnected(again);
      const answers = [await feeder.next("answer"), await feeder.next("answer")];
      expect(answers.map(({ answer }) => answer.storedThrough)).toEqual([2, 3]);
      expect((await again.report(rowan.key, presses(1, 2, 3))).body).toMatchObject({ duplicates: 3 });
    },
  );

  it("answers what has arrived before it closes", async () => {
    const { broker, server } = await openBrokerServer();
    const rowan = await addBrokerFeeder(server, broker);
    const feeder = await rowan.connect();
    await feeder.report(presses(1));
    const reports = Array.from({ length: 60 }, (_, index) => feeder.signed(presses(index + 2)));
    const sent = reports.map((report) => feeder.publish(report));
    const answered = new Set([(await feeder.next("answer")).to]); // it is at work
    await Promise.all([...sent, server.close()]);
    const again = await server.restart();
    await serverConnected(again);
    // A report may be answered twice: the broker hands over again what the server could not acknowledge in time.
    while (answered.size < reports.length) answered.add((await feeder.next("answer")).to);
    expect((await again.report(rowan.key, presses(1, 61))).body).toMatchObject({ storedThrough: 61, duplicates: 2 });
  });

  it("opens nothing where no broker is configured", async () => {
    const tries: unknown[] = [];
    const port = createServer((socket) => tries.push(socket)).listen(0, "127.0.0.1");
    await once(port, "listening");
    onTestFinished(() => void port.close());
    const server = await openTestServer({ logs: true });
    const { feeder, key } = await server.addFeeder();
    await server.report(key, presses(1));
    await server.runPeriodicCheck(feeder.id);
    expect([await health(server), brokerLines(server), tries]).toEqual([{ status: "well" }, [], []]);
  });

  it("with a broker that was never there starts all the same", async () => {
    const server = await openServerFor(await freePort());
    const { key } = await server.addFeeder();
    expect((await server.report(key, presses(1))).body).toMatchObject({ storedThrough: 1 });
    expect(await health(server)).toEqual({ status: "well", broker: "notConnected" });
  });
});

const health = async (server: TestServer) => (await server.app.inject({ url: "/api/v1/health" })).json();
