import { createECDH, randomBytes } from "node:crypto";
import type { IncomingMessage, ServerResponse } from "node:http";
import https from "node:https";
import type { AddressInfo } from "node:net";
import type { PushPayload } from "../../server/contract/api.ts";
import type { Instant } from "../../server/domain/instant.ts";
import type { Phone } from "../../server/ports.ts";
import { decryptPush, type ReceiverKeys, verifyVapid } from "./pushMessage.ts";
import { testOnlyCertificate, testOnlyKey } from "./testOnlyCertificate.ts";

/**
 * A push service by RFC 8030 on this machine, with the phones behind it: it checks what real ones check, decrypts as a phone
 * would, and fails as real ones do when the test wants it. It uses real TLS over a real socket.
 */
export interface PushService {
  readonly origin: string;
  /** The certificate that a client must trust. */
  readonly ca: string;
  /** How it answers from now on: always so, or each request as it comes, by the path of its subscription. */
  setBehaviour(behaviour: PushServiceBehaviour | ((path: string) => PushServiceBehaviour)): void;
  /** A new phone with keys of its own; `host` as another name for this machine. */
  subscribe(different?: { readonly label?: string; readonly host?: string }): Phone;
  unsubscribe(phone: Phone): void;
  /** What waits for a phone, oldest first; a newer message with the same topic has replaced the older. */
  messagesFor(phone: Phone): readonly PushMessage[];
  /** All that were ever accepted, in the order in which they were: also those that newer ones have replaced. */
  readonly acceptedCount: readonly PushMessage[];
  /** The next message that is accepted for this phone, from now on. */
  nextMessage(phone: Phone): Promise<PushMessage>;
  /** The next request of any kind that reached the server, however it was answered. */
  nextRequest(): Promise<void>;
  /** Requests received, and what was wrong with those that were found faulty. */
  readonly requests: number;
  readonly complaints: readonly string[];
  close(): Promise<void>;
}

export type PushServiceBehaviour =
  | { readonly kind: "accept"; readonly status?: 200 | 201 | 202 | 204 }
  | {
      readonly kind: "answer";
      readonly status: number;
      readonly headers?: Record<string, string>;
      readonly body?: string;
    }
  | { readonly kind: "slow"; readonly milliseconds: number } // accepts after that time
  | { readonly kind: "hang" } // takes the request and never answers
  | { readonly kind: "trickle"; readonly status: number } // answers, one octet at a time, for ever
  | { readonly kind: "flood"; readonly status: number } // sends a far too long answer
  | { readonly kind: "cutLine" } // takes the request and closes the connection
  | { readonly kind: "acceptAndCut" } // takes the message and closes the connection before its answer
  | { readonly kind: "cutAnswer"; readonly status: number } // closes the connection in the middle of its answer
  | { readonly kind: "redirect"; readonly to: string; readonly status?: number };

export interface PushMessage {
  readonly phone: string;
  readonly payload: PushPayload;
  readonly text: string;
  readonly body: Buffer; // as it was on the wire
  readonly ttlSeconds: number;
  readonly urgency: string;
  readonly topic: string | null;
  readonly claims: { readonly aud: string; readonly exp: number; readonly sub: string | undefined };
}

interface Subscriber {
  readonly phone: Phone;
  readonly keys: ReceiverKeys;
  messages: PushMessage[];
  waiting: ((message: PushMessage) => void)[];
}

export async function startPushService({
  behaviour = { kind: "accept" } as PushServiceBehaviour,
  nowSeconds = () => Date.now() / 1_000,
} = {}): Promise<PushService> {
  let current: PushServiceBehaviour | ((path: string) => PushServiceBehaviour) = behaviour;
  const accepted: PushMessage[] = [];
  let requests = 0;
  const complaints: string[] = [];
  const subscribers = new Map<string, Subscriber>(); // by path
  let awaited: (() => void)[] = [];
  const trickles = new Set<NodeJS.Timeout>();
  const waits = new Set<NodeJS.Timeout>();

  const server = https.createServer({ key: testOnlyKey, cert: testOnlyCertificate }, (request, response) => {
    receive(request, response).catch((error) => {
      complaints.push(String(error));
      response.destroy();
    });
  });

  async function receive(request: IncomingMessage, response: ServerResponse) {
    const chunks: Buffer[] = [];
    for await (const chunk of request) chunks.push(chunk);
    requests++;
    const arrived = awaited;
    awaited = [];
    for (const notify of arrived) notify();
    respond(request, response, Buffer.concat(chunks));
  }

  function respond(request: IncomingMessage, response: ServerResponse, body: Buffer) {
    const now = typeof current === "function" ? current(request.url ?? "") : current;
    switch (now.kind) {
      case "accept":
        return accept(request, response, body, now.status ?? 201);
      case "slow": {
        const wait = setTimeout(() => accept(request, response, body, 201), now.milliseconds);
        waits.add(wait);
        return;
      }
      case "acceptAndCut":
        return accept(request, response, body, "cutLine");
      case "answer":
        return response.writeHead(now.status, now.headers).end(now.body ?? "");
      case "redirect":
        return response.writeHead(now.status ?? 307, { location: now.to }).end();
      case "hang":
        return;
      case "cutLine":
        return request.socket.destroy();
      case "cutAnswer":
        response.writeHead(now.status, { "content-length": "1000" });
        return response.write("gone b", () => request.socket.destroy());
      case "trickle": {
        response.writeHead(now.status);
        const drip = setInterval(() => response.write("."), 5);
        trickles.add(drip);
        response.on("close", () => clearInterval(drip));
        return;
      }
      case "flood": {
        response.writeHead(now.status);
        const pour = () => {
          while (!response.destroyed && response.write("x".repeat(65_536)));
        };
        response.on("drain", pour);
        return pour();
      }
    }
  }

  function accept(request: IncomingMessage, response: ServerResponse, body: Buffer, status: number | "cutLine") {
    const subscriber = subscribers.get(request.url ?? "");
    if (subscriber === undefined) return response.writeHead(410).end("no such subscription");
    let message: PushMessage;
    try {
      message = read(request, body, subscriber, `https://${request.headers.host}`, nowSeconds());
    } catch (error) {
      complaints.push(error instanceof Error ? error.message : String(error));
      return response.writeHead(400).end(complaints.at(-1));
    }
    // RFC 8030 section 5.4: the newer message replaces an undelivered one with its topic.
    subscriber.messages = subscriber.messages.filter((one) => one.topic === null || one.topic !== message.topic);
    subscriber.messages.push(message);
    accepted.push(message);
    for (const notify of subscriber.waiting.splice(0)) notify(message);
    if (status === "cutLine") return request.socket.destroy();
    return response.writeHead(status, { location: `${request.url}/${requests}` }).end();
  }

  server.listen(0, "127.0.0.1");
  await new Promise((resolve) => server.once("listening", resolve));
  const { port } = server.address() as AddressInfo;
  const origin = `https://127.0.0.1:${port}`;
  const subscriberOf = (phone: Phone): Subscriber => {
    const subscriber = subscribers.get(new URL(phone.endpoint).pathname);
    if (subscriber === undefined) throw new Error(`expected a phone of this push service, got ${phone.endpoint}`);
    return subscriber;
  };

  return {
    origin,
    ca: testOnlyCertificate,
    complaints,
    acceptedCount: accepted,
    get requests() {
      return requests;
    },
    setBehaviour(next) {
      current = next;
    },
    subscribe({ label = "a phone", host = "127.0.0.1" } = {}) {
      const ecdh = createECDH("prime256v1");
      ecdh.generateKeys();
      const auth = randomBytes(16);
      const path = `/push/${randomBytes(12).toString("base64url")}`;
      const phone: Phone = {
        id: path.slice(6),
        keeper: "keeper",
        endpoint: `https://${host}:${port}${path}`,
        p256dh: ecdh.getPublicKey("base64url"),
        auth: auth.toString("base64url"),
        label,
        addedAt: 0 as Instant,
        lastAcceptedAt: null,
        lastDisplayedAt: null,
        problem: null,
        blockedAt: null,
      };
      subscribers.set(path, { phone, keys: { ecdh, auth }, messages: [], waiting: [] });
      return phone;
    },
    unsubscribe(phone) {
      subscribers.delete(new URL(phone.endpoint).pathname);
    },
    messagesFor: (phone) => subscriberOf(phone).messages,
    nextMessage: (phone) => new Promise((resolve) => subscriberOf(phone).waiting.push(resolve)),
    nextRequest: () => new Promise((resolve) => awaited.push(resolve)),
    async close() {
      for (const drip of trickles) clearInterval(drip);
      for (const wait of waits) clearTimeout(wait);
      server.closeAllConnections();
      await new Promise((resolve) => server.close(resolve));
    },
  };
}

/** @throws Error with what is wrong in the request */
function read(
  request: IncomingMessage,
  body: Buffer,
  { phone, keys }: Subscriber,
  origin: string,
  nowSeconds: number,
): PushMessage {
  const header = (name: string): string | null => {
    const value = request.headers[name];
    return typeof value === "string" ? value : null;
  };
  if (request.method !== "POST") throw new Error(`expected POST, got ${request.method}`);
  const claims = verifyVapid(header("authorization") ?? undefined, origin, nowSeconds);
  const ttl = header("ttl");
  if (ttl === null || !/^\d+$/.test(ttl)) throw new Error(`expected TTL in seconds, got ${ttl}`);
  const urgency = header("urgency") ?? "normal";
  if (!/^(very-low|low|normal|high)$/.test(urgency)) throw new Error(`expected an Urgency by RFC 8030, got ${urgency}`);
  const topic = header("topic");
  if (topic !== null && !/^[A-Za-z0-9_-]{1,32}$/.test(topic))
    throw new Error(`expected a Topic by RFC 8030, got ${topic}`);
  if (header("content-encoding") !== "aes128gcm") throw new Error("expected Content-Encoding aes128gcm");
  if (body.length > 4_096) throw new Error(`expected at most 4096 octets, got ${body.length}`);
  const text = new TextDecoder("utf-8", { fatal: true }).decode(decryptPush(body, keys));
  return { phone: phone.id, payload: JSON.parse(text), text, body, ttlSeconds: Number(ttl), urgency, topic, claims };
}
