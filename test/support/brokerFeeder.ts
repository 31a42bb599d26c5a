import mqtt, { type IClientOptions, type MqttClient } from "mqtt";
import { onTestFinished, vi } from "vitest";
import { type MqttTopic, mqttTopic } from "../../server/contract/mqttMessages.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import type { Broker } from "./mosquitto.ts";
import { testOnlyCertificate } from "./testOnlyCertificate.ts";

/** A feeder that reports over a broker, as its maker would write it after the documentation's page. */
export interface BrokerFeeder {
  readonly client: MqttClient;
  /** @returns the signature line and the body, as they are published */
  signed(body: object | string, nonce?: string): string;
  publish(payload: string | Buffer, options?: { readonly topic?: string }): Promise<void>;
  /** Takes a nonce where it has none, publishes the report and returns the answer to it. */
  report(body: object | string): Promise<Received>;
  /** The next message on this topic of its own, from the first that came on. */
  next(topic: MqttTopic): Promise<Received>;
  /** Whether none is waiting to be looked at. */
  hasNone(topic: MqttTopic): boolean;
  readonly nonce: string;
  end(): Promise<void>;
  /** The connection breaks: the broker publishes the last will. */
  break(): void;
}

// biome-ignore lint/suspicious/noExplicitAny: what a broker sends has any form, and each test says which it expects
export type Received = any;

interface FeederOptions {
  readonly id: string;
  readonly key: string;
  readonly version?: 4 | 5;
  readonly tls?: boolean;
  readonly more?: IClientOptions;
}

export const passwordOf = (feeder: string): string => `password of ${feeder}`;

export async function connectFeeder(broker: Broker, options: FeederOptions): Promise<BrokerFeeder> {
  const { id, key, version = 5, tls = false, more = {} } = options;
  const client = mqtt.connect({
    ...{ host: "localhost", port: broker.port, protocol: tls ? "mqtts" : "mqtt", protocolVersion: version },
    ...(tls ? { ca: testOnlyCertificate } : {}),
    ...{ username: id, password: passwordOf(id), clientId: id },
    ...{ reconnectPeriod: 50, reconnectOnConnackError: true }, // the broker may not have read its users yet
    ...more,
  });
  client.on("error", () => undefined); // what matters shows in what it receives
  const received = new Map<string, Received[]>();
  client.on("message", (topic, payload, packet) => {
    const text = payload.toString();
    const message = text === "" ? null : { ...JSON.parse(text), packet };
    received.set(topic, [...(received.get(topic) ?? []), message]);
  });
  await new Promise<void>((resolve) => client.once("connect", () => resolve()));
  const own = (["answer", "orders", "plan"] as const).map((topic) => mqttTopic(id, topic));
  await client.subscribeAsync(own, { qos: 1 });
  onTestFinished(() => void client.end(true));

  let nonce = "";
  const takeFrom = (topic: MqttTopic) => {
    return vi.waitFor(
      () => {
        const [first, ...others] = received.get(mqttTopic(id, topic)) ?? [];
        if (first === undefined) throw new Error(`expected a message on ${topic} of ${id}`);
        received.set(mqttTopic(id, topic), others);
        return first;
      },
      { timeout: 10_000, interval: 10 },
    );
  };
  const feeder: BrokerFeeder = {
    client,
    signed(body, over = nonce) {
      const text = typeof body === "string" ? body : JSON.stringify(body);
      const mac = signatureOf(hashOf(key), over, text);
      return `Signature feeder="${id}", nonce="${over}", mac="${mac}"\n${text}`;
    },
    async publish(payload, { topic = mqttTopic(id, "report") } = {}) {
      await client.publishAsync(topic, payload, { qos: 1 });
    },
    async report(body) {
      if (nonce === "") {
        await feeder.publish("");
        await feeder.next("answer");
      }
      const payload = feeder.signed(body);
      await feeder.publish(payload);
      const mac = /mac="([^"]+)"/.exec(payload)?.[1];
      for (;;) {
        const message = await feeder.next("answer");
        if (message.to === mac) return message; // others are to earlier reports
      }
    },
    async next(topic) {
      const message = await takeFrom(topic);
      if (message?.nonce !== undefined) nonce = message.nonce;
      return message;
    },
    hasNone: (topic) => (received.get(mqttTopic(id, topic)) ?? []).length === 0,
    get nonce() {
      return nonce;
    },
    end: () => client.endAsync(),
    break: () => {
      client.options.reconnectPeriod = 0;
      client.stream.destroy();
    },
  };
  return feeder;
}
