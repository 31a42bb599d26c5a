import mqtt, { type ErrorWithReasonCode, type IClientOptions, type IPublishPacket, type MqttClient } from "mqtt";
import { type MqttTopic, mqttTopic, readMqttTopic } from "../contract/mqttMessages.ts";
import { minutes, type Span, seconds } from "../domain/instant.ts";
import type { Clock, RetainedMessages } from "../ports.ts";
import { connectProblem, endProblem } from "./brokerProblems.ts";
import { createRetainedMessages } from "./retainedMessages.ts";

export interface BrokerOptions {
  readonly host: string;
  readonly port: number;
  readonly secure: boolean; // TLS
  readonly login: { readonly user: string; readonly password: string } | null;
  readonly version: "3.1.1" | "5";
  /** PEM; null: the authorities that Node.js knows */
  readonly ca: string | null;
}

/** A report as it came: who it is from is not proven yet. */
export interface BrokerReport {
  readonly feeder: string; // by its topic
  readonly payload: Buffer;
  readonly correlationData: Buffer | undefined; // MQTT 5: to be sent back with the answer
}

export interface BrokerHandlers {
  /** Resolves when the report is answered. */
  takeReport(report: BrokerReport): Promise<void>;
  /** A message on a feeder's own `status`, now and not retained. */
  takeStatus(feeder: string, payload: Buffer): void;
  /** After each connection. */
  connected(): void;
}

export interface BrokerLog {
  info(text: string): void;
  warn(text: string): void;
}

/** The keeper's own broker, of which the server is one client. The server goes on without it. */
export interface MqttBroker extends RetainedMessages {
  readonly isConnected: boolean;
  /** Connects, and again and again after each end. */
  open(handlers: BrokerHandlers, log: BrokerLog): void;
  /** Not retained. Nothing is sent while the broker isn't reached: the feeder repeats what is not answered. */
  sendAnswer(to: Pick<BrokerReport, "feeder" | "correlationData">, message: object): void;
  /** Resolves when reports that arrived are answered, and the broker knows that this was no failure. */
  close(): Promise<void>;
}

/** Reports that are worked on at once. The others wait at the broker. */
const inWorkMax = 32;
/** As long as a signature holds: what waited longer would be refused. */
const sessionKeptFor = minutes(5);
const retryAfter = { least: seconds(1), most: seconds(60) };
/** A connection that ends sooner didn't hold: two servers with one client id end each other's. */
const holdsAfter = seconds(60);
/** Largest packet: a report of 1 MiB with its signature. A larger one is refused in words up to here, and beyond by the broker. */
const packetBytesMax = 2 * 1_048_576;
const closesWithin = seconds(2);

export function createMqttBroker(options: BrokerOptions, clock: Clock): MqttBroker {
  let client: MqttClient | null = null;
  const isConnected = () => client?.connected === true;
  let notAllowed: (topic: string) => void = () => undefined;
  const publish = createPublisher(
    options.version === "5",
    () => client,
    (topic) => notAllowed(topic),
  );
  const retained = createRetainedMessages(clock, isConnected, (feeder, topic, text, expiresIn) =>
    publish(feeder, topic, text, { retain: true, expiresIn }),
  );
  const work = createWork();

  return {
    ...retained,
    get isConnected() {
      return isConnected();
    },
    open(handlers, log) {
      const state = createStateLog(log, options);
      notAllowed = (topic) => state.note(`the broker doesn't let this server write to ${topic}; check its access list`);
      client = mqtt.connect(connectOptions(options));
      client.handleMessage = (packet, done) => work.start(() => handleMessage(handlers, packet), done);
      watch(client, clock, state);
      client.on("connect", () => {
        retained.forgetAll();
        subscribe(client as MqttClient, (problem) => state.note(problem));
        handlers.connected();
      });
    },
    sendAnswer({ feeder, correlationData }, message) {
      publish(feeder, "answer", JSON.stringify(message), { correlationData, expiresIn: sessionKeptFor });
    },
    async close() {
      await work.finish();
      if (client !== null) await endClient(client);
    },
  };
}

type Publish = (feeder: string, topic: MqttTopic, text: string, more: PublishOptions) => void;

/** @param notAllowed the broker's access list forbids it; MQTT 3.1.1 doesn't say so */
function createPublisher(
  isVersion5: boolean,
  current: () => MqttClient | null,
  notAllowed: (topic: string) => void,
): Publish {
  return (feeder, topic, text, { retain = false, expiresIn = null, correlationData }) => {
    const client = current();
    if (client === null || !client.connected) return; // the library would keep it in memory until then
    const properties = {
      ...(expiresIn === null ? {} : { messageExpiryInterval: Math.max(1, Math.ceil(expiresIn / 1_000)) }),
      ...(correlationData === undefined ? {} : { correlationData }),
    };
    client.publish(
      mqttTopic(feeder, topic),
      text,
      { qos: 1, retain, ...(isVersion5 ? { properties } : {}) },
      (error) => {
        if ((error as ErrorWithReasonCode | undefined)?.code === 135) notAllowed(mqttTopic("+", topic));
      },
    );
  };
}

interface PublishOptions {
  readonly retain?: boolean;
  readonly expiresIn?: Span | null;
  readonly correlationData?: Buffer | undefined;
}

function connectOptions({ host, port, secure, login, version, ca }: BrokerOptions): IClientOptions {
  return {
    host,
    port,
    protocol: secure ? "mqtts" : "mqtt",
    ...(ca === null ? {} : { ca }),
    ...(login === null ? {} : { username: login.user, password: login.password }),
    clientId: "pieward", // the same after a restart: the broker keeps what came meanwhile
    clean: false,
    ...(version === "5" ? { protocolVersion: 5, properties: sessionProperties } : { protocolVersion: 4 }),
    resubscribe: false,
    reconnectOnConnackError: true, // a wrong password may be put right at the broker
    reconnectPeriod: retryAfter.least,
    connectTimeout: seconds(10),
    keepalive: 30,
  };
}

const sessionProperties = {
  sessionExpiryInterval: sessionKeptFor / 1_000,
  receiveMaximum: inWorkMax,
  maximumPacketSize: packetBytesMax,
};

function subscribe(client: MqttClient, problem: (text: string) => void): void {
  const topics: readonly MqttTopic[] = ["report", "status"];
  for (const topic of topics.map((name) => mqttTopic("+", name))) {
    client.subscribe(topic, { qos: 1 }, (error, granted) => {
      const isRefused = error !== null && (error as ErrorWithReasonCode).code !== undefined;
      if (isRefused || granted?.some(({ qos }) => qos >= 128))
        problem(`the broker doesn't let this server read ${topic}; check its access list`);
    });
  }
}

function handleMessage(handlers: BrokerHandlers, { topic, payload, retain, properties }: IPublishPacket) {
  const from = readMqttTopic(topic);
  if (from === null) return Promise.resolve();
  const octets = typeof payload === "string" ? Buffer.from(payload) : payload;
  if (from.topic === "report") {
    return handlers.takeReport({
      feeder: from.feeder,
      payload: octets,
      correlationData: properties?.correlationData,
    });
  }
  if (!retain) handlers.takeStatus(from.feeder, octets);
  return Promise.resolve();
}

/**
 * The broker may send the next message as soon as `done` is called; where too many are in work, that waits. A report's acknowledgement is
 * its answer, so the broker's own may go before: a feeder repeats what a server that died meanwhile didn't answer.
 */
function createWork() {
  const inWork = new Set<Promise<void>>();
  let next: (() => void) | null = null; // the library hands over one message at a time
  let finishing = false;
  return {
    start(begin: () => Promise<void>, done: () => void): void {
      if (finishing) return; // not acknowledged, so the broker keeps it for the next start
      const work = begin().finally(() => {
        inWork.delete(work);
        next?.();
        next = null;
      });
      inWork.add(work);
      if (inWork.size < inWorkMax) done();
      else next = done;
    },
    async finish(): Promise<void> {
      finishing = true;
      await Promise.allSettled(inWork);
    },
  };
}

type StateLog = ReturnType<typeof createStateLog>;

/** One line each time the state changes, not for each try. */
function createStateLog(log: BrokerLog, { host, port, secure, version }: BrokerOptions) {
  const address = `${secure ? "mqtts" : "mqtt"}://${host.includes(":") ? `[${host}]` : host}:${port}`;
  let last = "";
  const noted = new Set<string>(); // of some few topics
  const write = (level: keyof BrokerLog, text: string) => {
    if (text !== last) log[level](`MQTT: ${text}`);
    last = text;
  };
  return {
    connected: () => write("info", `connected to ${address} with version ${version}`),
    lost: (why: string) => write("warn", `${address} is not connected: ${why}. The server goes on, and tries again`),
    note(text: string): void {
      if (!noted.has(text)) log.warn(`MQTT: ${text}`);
      noted.add(text);
    },
  };
}

/** Waits longer after each try, and tells the state's changes. */
function watch(client: MqttClient, clock: Clock, state: StateLog): void {
  let why: string | null = null;
  let connectedAt: number | null = null;
  let wait: number = retryAfter.least / 2;
  client.on("connect", () => {
    connectedAt = clock.now();
    state.connected();
  });
  client.on("error", (error) => {
    why = connectProblem(error as Error & { code?: string | number });
  });
  client.on("disconnect", ({ reasonCode }) => {
    why = endProblem(reasonCode ?? 0);
  });
  // Before the library's own listener, which waits for so long.
  client.prependListener("close", () => {
    if (client.disconnecting) return; // we end it
    const held = connectedAt !== null && clock.now() - connectedAt >= holdsAfter;
    wait = held ? retryAfter.least : Math.min(2 * wait, retryAfter.most);
    client.options.reconnectPeriod = wait;
    const silent = connectedAt === null ? "it closed the connection before it answered" : "the connection was lost";
    state.lost(why ?? silent);
    [why, connectedAt] = [null, null];
  });
}

async function endClient(client: MqttClient): Promise<void> {
  await new Promise<void>((resolve) => {
    const cut = setTimeout(() => {
      client.stream.destroy(); // a broker that hangs must not hold up the server's end
      resolve();
    }, closesWithin);
    client.end(false, () => {
      clearTimeout(cut);
      resolve();
    });
  });
}
