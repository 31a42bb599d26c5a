import { vi } from "vitest";
import { createMqttBroker } from "../../server/adapters/mqttBroker.ts";
import { type BrokerFeeder, connectFeeder, passwordOf } from "./brokerFeeder.ts";
import { type Broker, freePort, serverPassword, startBroker } from "./mosquitto.ts";
import { openTestServer, type TestServer } from "./testServer.ts";

export interface BrokerSetting {
  readonly version?: "3.1.1" | "5"; // of the server
  readonly reportsPerMinute?: number;
}

/** A server without TLS to its broker, on a port where a broker may be started. */
export async function openServerFor(port: number, { version = "5", ...more }: BrokerSetting = {}): Promise<TestServer> {
  const login = { user: "pieward", password: serverPassword };
  return openTestServer({
    ...more,
    logs: true,
    broker: (clock) => createMqttBroker({ host: "127.0.0.1", port, secure: false, login, version, ca: null }, clock),
  });
}

export async function openBrokerServer(setting: BrokerSetting = {}) {
  const port = await freePort();
  const broker = await startBroker({ port });
  const server = await openServerFor(port, setting);
  await serverConnected(server);
  return { broker, server };
}

export const serverConnected = (server: TestServer): Promise<void> =>
  vi.waitFor(
    async () => {
      const { broker } = (await server.app.inject({ url: "/api/v1/health" })).json();
      if (broker !== "connected")
        throw new Error(`expected the server at the broker, but:\n${brokerLines(server).join("\n")}`);
    },
    { timeout: 15_000, interval: 20 },
  );

/** What the server's log says of the broker. */
export const brokerLines = ({ log }: Pick<TestServer, "log">): string[] =>
  log.map((line) => JSON.parse(line).msg as string).filter((text) => text?.startsWith("MQTT: "));

/** Known to the server, and to the broker as a user. */
export async function addBrokerFeeder(server: TestServer, broker: Broker, settings: object = {}) {
  const { feeder, key } = await server.addFeeder(settings);
  broker.addUser(feeder.id, passwordOf(feeder.id));
  const connectNow = (more: Omit<Parameters<typeof connectFeeder>[1], "id" | "key"> = {}): Promise<BrokerFeeder> =>
    connectFeeder(broker, { id: feeder.id, key, ...more });
  return { id: feeder.id, key, connect: connectNow };
}
