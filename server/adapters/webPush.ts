import { createECDH, createHmac } from "node:crypto";
import type { IncomingMessage } from "node:http";
import https from "node:https";
import webpush from "web-push";
import type { Instant } from "../domain/instant.ts";
import type { NotificationContent } from "../domain/notification/content.ts";
import type { PushOutcome } from "../domain/push/outcome.ts";
import { pushPayload } from "../domain/push/payload.ts";
import { isTopic, pushOptions } from "../domain/push/pushOptions.ts";
import { retryAfter } from "../domain/push/retry.ts";
import type { Phone, PushGateway } from "../ports.ts";
import { asOneLine } from "./asOneLine.ts";
import { type EndpointGuard, EndpointRefused } from "./endpointGuard.ts";

export interface WebPushOptions {
  /** RFC 8292: who we are to push services. `subject` is a mailto: or https: address, the keys are base64url. */
  readonly vapid: { readonly subject: string; readonly publicKey: string; readonly privateKey: string };
  readonly publicUrl: string | null;
  readonly guard: EndpointGuard;
  /** For the whole delivery, from DNS to the last octet of the answer. */
  readonly timeoutMs: number;
  /** Authorities to trust instead of the usual ones: for a push service with a certificate of the keeper's own. */
  readonly tls?: { readonly ca?: string | readonly string[] };
}

/**
 * Delivers notifications by RFC 8030. The library encrypts (RFC 8291, aes128gcm) and signs (RFC 8292). The request is our own, since
 * the library's has no deadline for the whole answer, stores answers of any length, and connects to whatever a name resolves to.
 * @throws Error where the VAPID details can't be right: better at the start than with the first alarm
 */
export function webPush({ vapid, publicUrl, guard, timeoutMs, tls = {} }: WebPushOptions): PushGateway {
  checkVapid(vapid);
  // No connection is reused: a dead one would cost an urgent notification its first attempt, and notifications are few.
  const agent = new https.Agent({ keepAlive: false, ...(tls.ca === undefined ? {} : { ca: [tls.ca].flat() }) });

  /**
   * Opaque to the push service, which could otherwise guess from a topic which fault it is about. The same topic gives the same
   * result while the keys stay the same.
   */
  const topicOf = (content: NotificationContent): string => {
    const topic = createHmac("sha256", vapid.privateKey).update(content.topic).digest("base64url").slice(0, 32);
    if (!isTopic(topic)) throw new Error(`expected a topic by RFC 8030, got ${topic}`);
    return topic;
  };

  const request = (phone: Phone, feeder: string | null, content: NotificationContent, item: string): PushRequest => {
    // As the URL parser writes it, so that the signed audience is the origin without :443.
    const url = guard.read(phone.endpoint);
    const { ttlSeconds, urgency } = pushOptions(content);
    const details = webpush.generateRequestDetails(
      { endpoint: url.href, keys: { p256dh: phone.p256dh, auth: phone.auth } },
      JSON.stringify(pushPayload(content, feeder, publicUrl, item)),
      { vapidDetails: vapid, TTL: ttlSeconds, urgency, topic: topicOf(content), contentEncoding: "aes128gcm" },
    );
    return { url, headers: details.headers, body: details.body };
  };

  return {
    publicKey: vapid.publicKey,
    checkEndpoint: (endpoint) => guard.check(endpoint),
    async send(phone, feeder, content, now, item) {
      let prepared: PushRequest;
      try {
        prepared = request(phone, feeder, content, item);
      } catch (error) {
        // Nothing was sent: the endpoint is refused, or the phone's keys are invalid. A retry would not help.
        return { kind: "refused", text: errorText(error) };
      }
      try {
        return outcomeOf(await post(prepared, agent, guard, timeoutMs), now);
      } catch (error) {
        if (error instanceof EndpointRefused) return { kind: "refused", text: error.message };
        const uncertainty = error instanceof NoResponse ? { mayHaveArrived: true as const } : {};
        return { kind: "tryLater", notBefore: null, text: errorText(error), noAnswer: true, ...uncertainty };
      }
    },
  };
}

function checkVapid({ subject, publicKey, privateKey }: WebPushOptions["vapid"]): void {
  // The library checks the form of each, but not that the two keys belong together.
  webpush.getVapidHeaders("https://push.example", subject, publicKey, privateKey, "aes128gcm");
  const pair = createECDH("prime256v1");
  pair.setPrivateKey(privateKey, "base64url");
  if (pair.getPublicKey("base64url") !== publicKey) {
    throw new Error("expected the VAPID public key that belongs to the private key, got another one");
  }
}

interface PushRequest {
  readonly url: URL;
  readonly headers: Readonly<Record<string, string | number>>;
  readonly body: Buffer;
}

interface PushResponse {
  readonly status: number;
  readonly retryAfter: string | undefined;
  readonly text: string;
}

/** By class of answer: RFC 8030 sections 5 and 7.3, RFC 9110 section 15. */
function outcomeOf({ status, retryAfter: header, text }: PushResponse, now: Instant): PushOutcome {
  const problem = `HTTP ${status}${text === "" ? "" : `: ${text}`}`;
  if (status >= 200 && status < 300) return { kind: "accepted" };
  if (status === 404 || status === 410) return { kind: "subscriptionGone", text: problem };
  if (status === 408 || status === 425 || status === 429 || status >= 500) {
    return { kind: "tryLater", notBefore: retryAfter(header, now), text: problem };
  }
  // 3xx too: the guard checked this address and no other.
  return { kind: "refused", text: problem };
}

/** How much of an answer is read: enough for the reason that a keeper sees. */
const responseOctetsMax = 1_024;

/** The whole request was sent, and then the connection broke or the time ran out: it may have arrived. */
class NoResponse extends Error {
  override readonly name = "NoResponse";
}

/** @throws NoResponse, EndpointRefused, or the network's own error; an answer of any status is no error */
function post({ url, headers, body }: PushRequest, agent: https.Agent, guard: EndpointGuard, timeoutMs: number) {
  return new Promise<PushResponse>((resolve, reject) => {
    // It connects to the addresses that the guard checked: this is the only DNS query.
    const sending = https.request(url, { method: "POST", headers, agent, lookup: guard.lookup });
    let answer: { read(): PushResponse } | null = null;
    let allSent = false;
    sending.on("finish", () => {
      allSent = true;
    });
    const deadline = setTimeout(() => sending.destroy(new Error(`no answer within ${timeoutMs} ms`)), timeoutMs);
    sending.on("response", (response) => {
      answer = collect(response, () => {
        clearTimeout(deadline);
        // The status decides, even where the rest of the answer is missing.
        if (answer !== null) resolve(answer.read());
        sending.destroy();
      });
    });
    sending.on("error", (error) => {
      clearTimeout(deadline);
      if (answer === null) reject(allSent ? new NoResponse(errorText(error), { cause: error }) : error);
      else resolve(answer.read());
    });
    sending.end(body);
  });
}

/** Reads the beginning of an answer. @param done called, never at once, when enough is read or no more comes */
function collect(response: IncomingMessage, done: () => void): { read(): PushResponse } {
  const chunks: Buffer[] = [];
  let octets = 0;
  response.on("data", (chunk: Buffer) => {
    chunks.push(chunk);
    octets += chunk.length;
    if (octets >= responseOctetsMax) done();
  });
  response.on("end", done);
  response.on("error", done);
  if (response.statusCode !== undefined && response.statusCode < 300) queueMicrotask(done);
  return {
    read: () => ({
      status: response.statusCode ?? 0,
      retryAfter: response.headers["retry-after"],
      text: asOneLine(Buffer.concat(chunks).subarray(0, responseOctetsMax).toString("utf8")),
    }),
  };
}

const errorText = (error: unknown): string => {
  if (!(error instanceof Error)) return String(error);
  // A failed attempt at several addresses is an AggregateError, whose own message is empty.
  const code = (error as NodeJS.ErrnoException).code;
  return asOneLine(error.message || code || error.name);
};
