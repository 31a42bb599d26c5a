import { createHash } from "node:crypto";
import { createTransport, type SendMailOptions } from "nodemailer";
import type { Email } from "../domain/email/email.ts";
import { isEmailAddress } from "../domain/email/emailAddress.ts";
import type { EmailOutcome } from "../domain/push/outcome.ts";
import type { EmailGateway } from "../ports.ts";
import { asOneLine } from "./asOneLine.ts";

export interface SmtpSettings {
  readonly host: string;
  readonly port: number;
  /** `fromStart`: implicit TLS (RFC 8314). `startTls`: nothing is sent before STARTTLS. `ifOffered`: opportunistic (RFC 7435). */
  readonly tls: "fromStart" | "startTls" | "ifOffered";
  readonly login: { readonly user: string; readonly password: string } | null;
  readonly from: { readonly name: string; readonly address: string };
}

export interface SmtpOptions {
  /** Until the server has greeted us: DNS, connecting, TLS from the start. */
  readonly connectTimeoutMs: number;
  /** For the whole delivery. */
  readonly timeoutMs: number;
  /** Authorities to trust instead of the usual ones: for a server with a certificate of the keeper's own. */
  readonly ca?: string;
}

/**
 * Hands e-mails to the mail server by RFC 5321, with one connection each: a connection that stays open is often dead by the time of
 * the next e-mail, and would cost it its first attempt.
 *
 * What happens between our last dot and the server's answer can't be known. Such an e-mail is sent again with the same Message-ID, by
 * which mail programs recognize a repeat (RFC 5322 section 3.6.4).
 */
export function smtpGateway(server: SmtpSettings, limits: SmtpOptions): EmailGateway {
  const { from, login } = server;
  const domain = from.address.slice(from.address.lastIndexOf("@") + 1);
  const options = transportOptions(server, limits);
  const hidden = login === null ? [] : secretsOf(login);

  return {
    isConfigured: true,
    async send(to, email, id, writtenAt) {
      if (!isEmailAddress(to)) return { kind: "refused", text: "the e-mail address is not valid" };
      const message = {
        ...messageOf(email, writtenAt),
        from: { name: from.name, address: from.address },
        to: { name: "", address: to },
        envelope: { from: from.address, to: [to] },
        messageId: `<${messageIdOf("email", id)}@${domain}>`,
        references: `<${messageIdOf("topic", email.topic)}@${domain}>`,
      };
      const delivery = await deliver(message, options, limits.timeoutMs);
      if (delivery === "accepted") return { kind: "accepted" };
      const { error, allSent, timedOut } = delivery;
      const outcome = timedOut
        ? tryLaterOutcome(`no answer within ${limits.timeoutMs / 1_000} s`)
        : outcomeOf(error, hidden);
      if (outcome.kind !== "tryLater" || error.response !== undefined) return outcome;
      return { ...outcome, noAnswer: true, ...(allSent ? { mayHaveArrived: true } : {}) };
    },
  };
}

const transportOptions = (
  { host, port, tls, login }: SmtpSettings,
  { connectTimeoutMs, timeoutMs, ca }: SmtpOptions,
) => ({
  host,
  port,
  secure: tls === "fromStart",
  requireTLS: tls === "startTls",
  tls: { ...(ca === undefined ? {} : { ca }), rejectUnauthorized: tls !== "ifOffered" },
  ...(login === null ? {} : { auth: { user: login.user, pass: login.password } }),
  // A server that offers no AUTH would otherwise get the e-mail without a login, and refuse it for a misleading reason.
  forceAuth: login !== null,
  connectionTimeout: connectTimeoutMs,
  greetingTimeout: connectTimeoutMs,
  dnsTimeout: connectTimeoutMs,
  socketTimeout: timeoutMs,
  socketCloseTimeout: 0, // after the answer nothing more is waited for
  maxResponseSize: answerOctetsMax,
  disableFileAccess: true,
  disableUrlAccess: true,
});

interface FailedDelivery {
  readonly error: SmtpError;
  readonly allSent: boolean; // the last of the message has been sent
  readonly timedOut: boolean;
}

async function deliver(
  message: SendMailOptions,
  options: ReturnType<typeof transportOptions>,
  timeoutMs: number,
): Promise<"accepted" | FailedDelivery> {
  const ending = new AbortController();
  const deadline = setTimeout(() => ending.abort(), timeoutMs);
  let allSent = false;
  const logger = watchStage("message", () => {
    allSent = true;
  });
  try {
    await createTransport({ ...options, logger }).sendMail({ ...message, signal: ending.signal });
    return "accepted";
  } catch (error) {
    return { error: error as SmtpError, allSent, timedOut: ending.signal.aborted };
  } finally {
    clearTimeout(deadline);
  }
}

/** The library reports only in its log that the last of a message has been sent. Nothing is written: the log holds passwords. */
function watchStage(stage: string, reached: () => void) {
  const watch = (entry: unknown) => {
    if ((entry as { readonly tnx?: unknown } | null)?.tnx === stage) reached();
  };
  return { trace: watch, debug: watch, info: watch, warn: watch, error: watch, fatal: watch };
}

/** Where no mail server is configured. */
export const noEmail: EmailGateway = {
  isConfigured: false,
  send: async () => ({ kind: "refused", text: "no mail server is configured" }),
};

/**
 * The content of the message. Line breaks in a subject would let a text add headers, so they are removed; the library folds and encodes
 * the rest (RFC 5322, RFC 2047).
 */
function messageOf({ subject, text, html }: Email, writtenAt: number) {
  return {
    subject: subject.replace(/[\p{Cc}\s]+/gu, " ").trim(),
    text,
    html,
    date: new Date(writtenAt),
    headers: {
      "Auto-Submitted": "auto-generated", // RFC 3834 section 5: automatic replies must not answer it
      "Content-Language": "en",
    },
  };
}

/**
 * Ids are hashed: an item's id grants a display receipt, and a topic names a fault. No e-mail has a topic's id as its Message-ID; e-mails
 * that refer to the same one are shown together (RFC 5256, REFERENCES).
 */
const messageIdOf = (kind: "email" | "topic", id: string): string =>
  createHash("sha256").update(`${kind} ${id}`).digest("hex").slice(0, 32);

// --- what it answered ------------------------------------------------------------------------------------------------

interface SmtpError extends Error {
  readonly code?: string;
  readonly originalCode?: string;
  readonly response?: string;
  readonly responseCode?: number;
}

/** A reply is a few lines at most (RFC 5321 section 4.5.3.1.5); one that never ends is cut off. */
const answerOctetsMax = 65_536;

const tryLaterOutcome = (text: string) => ({ kind: "tryLater", notBefore: null, text }) as const;

/**
 * By class of reply (RFC 5321 section 4.2.1): 5yz is permanent, all others are not. Failed connections are not permanent either, such
 * as those with a certificate that doesn't fit: it may be renewed.
 */
function outcomeOf(error: SmtpError, hidden: readonly string[]): EmailOutcome {
  const { response, responseCode, message, originalCode, code } = error;
  // The server's reply; where there is none, the library's message with the network's code.
  const reply = response ?? [message, originalCode ?? ""].join(" ");
  const text = withoutSecrets(reply || code || error.name, hidden);
  // Missing TLS is no reason to give up on the e-mail; somebody may be interfering with the connection.
  if (code === "ETLS") return tryLaterOutcome(text);
  if (responseCode !== undefined && responseCode >= 500 && responseCode < 600) return { kind: "refused", text };
  // Found before anything was sent.
  if (code === "ENOAUTH" || (code === "EENVELOPE" && responseCode === undefined)) return { kind: "refused", text };
  return tryLaterOutcome(text);
}

/** A server's reply is logged and shown, and may repeat what we sent. */
function withoutSecrets(text: string, hidden: readonly string[]): string {
  return asOneLine(hidden.reduce((left, secret) => left.replaceAll(secret, "…"), text));
}

function secretsOf({ user, password }: { readonly user: string; readonly password: string }): readonly string[] {
  const base64 = (text: string) => Buffer.from(text, "utf8").toString("base64");
  // The longest first: replacing a part of it would leave the rest unrecognized.
  return [base64(`\0${user}\0${password}`), base64(password), password].sort((a, b) => b.length - a.length);
}
