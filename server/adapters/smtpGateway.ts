import { createHash } from "node:crypto";
import { createTransport } from "nodemailer";
import type { Email } from "../domain/email/email.ts";
import { isEmailAddress } from "../domain/email/emailAddress.ts";
import type { EmailOutcome } from "../domain/push/outcome.ts";
import type { EmailGateway } from "../ports.ts";
import { asOneLine } from "./asOneLine.ts";

export interface SmtpSettings {
  readonly host: string;
  readonly port: number;
  /** `fromStart`: implicit TLS (RFC 8314). `startTls`: nothing is said before STARTTLS. `ifOffered`: opportunistic (RFC 7435). */
  readonly tls: "fromStart" | "startTls" | "ifOffered";
  readonly login: { readonly user: string; readonly password: string } | null;
  readonly from: { readonly name: string; readonly address: string };
}

export interface SmtpOptions {
  /** Until the server has greeted us: DNS, connecting, TLS from the start. */
  readonly connectTimeoutMs: number;
  /** The whole exchange, however slowly it trickles. */
  readonly timeoutMs: number;
  /** Authorities to trust instead of the usual ones: for a server with a certificate of the keeper's own. */
  readonly ca?: string;
}

/**
 * Hands letters to the keeper's mail server by RFC 5321, one connection each: a kept one is dead more often than not by the
 * time of the next letter, and would cost it its first attempt.
 *
 * What happens between our last dot and the server's answer nobody can know: such a letter is tried again, and carries the
 * same Message-ID, by which mail programs tell a repeat (RFC 5322 section 3.6.4).
 */
export function smtpGateway(server: SmtpSettings, { connectTimeoutMs, timeoutMs, ca }: SmtpOptions): EmailGateway {
  const { host, port, tls, login, from } = server;
  const domain = from.address.slice(from.address.lastIndexOf("@") + 1);
  const options = {
    host,
    port,
    secure: tls === "fromStart",
    requireTLS: tls === "startTls",
    tls: { ...(ca === undefined ? {} : { ca }), rejectUnauthorized: tls !== "ifOffered" },
    ...(login === null ? {} : { auth: { user: login.user, pass: login.password } }),
    // One that offers no AUTH would otherwise be handed the letter without it, and refuse it for a reason that isn't ours.
    forceAuth: login !== null,
    connectionTimeout: connectTimeoutMs,
    greetingTimeout: connectTimeoutMs,
    dnsTimeout: connectTimeoutMs,
    socketTimeout: timeoutMs,
    socketCloseTimeout: 0, // when the answer is there, nothing more is waited for
    maxResponseSize: answerOctetsMax,
    disableFileAccess: true,
    disableUrlAccess: true,
  };
  const hidden = login === null ? [] : secretsOf(login);

  return {
    isConfigured: true,
    async send(to, letter, id, writtenAt) {
      if (!isEmailAddress(to)) return { kind: "refused", text: "that is no mail address" };
      const ending = new AbortController();
      const deadline = setTimeout(() => ending.abort(), timeoutMs);
      let allSent = false;
      const logger = watchStage("message", () => {
        allSent = true;
      });
      const transport = createTransport({ ...options, logger });
      try {
        await transport.sendMail({
          ...messageOf(letter, writtenAt),
          from: { name: from.name, address: from.address },
          to: { name: "", address: to },
          envelope: { from: from.address, to: [to] },
          messageId: `<${messageIdOf("letter", id)}@${domain}>`,
          references: `<${messageIdOf("topic", letter.topic)}@${domain}>`,
          signal: ending.signal,
        });
        return { kind: "accepted" };
      } catch (error) {
        const said = error as SmtpError;
        const silent = said.response === undefined;
        const outcome = ending.signal.aborted
          ? tryLaterOutcome(`no answer within ${timeoutMs / 1_000} s`)
          : outcomeOf(said, hidden);
        if (outcome.kind !== "tryLater" || !silent) return outcome;
        return { ...outcome, noAnswer: true, ...(allSent ? { mayHaveArrived: true } : {}) };
      } finally {
        clearTimeout(deadline);
      }
    },
  };
}

/**
 * The library tells only its log that the last of a letter has left, so that is what is listened to; nothing is written
 * anywhere, since commands and addresses pass through it too.
 */
function watchStage(stage: string, reached: () => void) {
  const listen = (entry: unknown) => {
    if ((entry as { readonly tnx?: unknown } | null)?.tnx === stage) reached();
  };
  return { trace: listen, debug: listen, info: listen, warn: listen, error: listen, fatal: listen };
}

/** Where no mail server is configured. */
export const noEmail: EmailGateway = {
  isConfigured: false,
  send: async () => ({ kind: "refused", text: "no mail server is configured" }),
};

/**
 * The letter's own part of the message. Line breaks in a subject would begin headers of somebody else's choosing, so there
 * are none, whatever made the letter; the library folds and encodes what is left (RFC 5322, RFC 2047).
 */
function messageOf({ subject, text, html }: Email, writtenAt: number) {
  return {
    subject: subject.replace(/[\p{Cc}\s]+/gu, " ").trim(),
    text,
    html,
    date: new Date(writtenAt),
    headers: {
      "Auto-Submitted": "auto-generated", // RFC 3834 section 5: nobody's holiday greeting shall answer it
      "Content-Language": "en",
    },
  };
}

/**
 * Ids are digested: the one of a letter is a capability of its own inside the house, and a topic names what is wrong there.
 * The topic's is the Message-ID of no letter; those that refer to the same one stand together (RFC 5256, REFERENCES).
 */
const messageIdOf = (kind: "letter" | "topic", id: string): string =>
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

const tryLaterOutcome = (words: string) => ({ kind: "tryLater", notBefore: null, text: words }) as const;

/**
 * By class of reply (RFC 5321 section 4.2.1): 5yz is for good, all else may pass. So may whatever keeps us from talking at
 * all, a certificate that doesn't fit among it: it is renewed more often than the letter is changed.
 */
function outcomeOf(error: SmtpError, hidden: readonly string[]): EmailOutcome {
  const { response, responseCode, message, originalCode, code } = error;
  // In the server's own words where it spoke; the library's, and the network's code, where it didn't.
  const spoken = response ?? [message, originalCode ?? ""].join(" ");
  const words = withoutSecrets(spoken || code || error.name, hidden);
  // TLS that is suddenly not offered says nothing of the letter; it may be somebody on the line.
  if (code === "ETLS") return tryLaterOutcome(words);
  if (responseCode !== undefined && responseCode >= 500 && responseCode < 600) return { kind: "refused", text: words };
  // Ours or the letter's own fault, found before anything left the house.
  if (code === "ENOAUTH" || (code === "EENVELOPE" && responseCode === undefined))
    return { kind: "refused", text: words };
  return tryLaterOutcome(words);
}

/** A server may repeat what it was told, and what it says is logged and shown. */
function withoutSecrets(words: string, hidden: readonly string[]): string {
  return asOneLine(hidden.reduce((left, secret) => left.replaceAll(secret, "…"), words));
}

function secretsOf({ user, password }: { readonly user: string; readonly password: string }): readonly string[] {
  const base64 = (text: string) => Buffer.from(text, "utf8").toString("base64");
  // The longest first: a part of it that is replaced would hide the rest from us.
  return [base64(`\0${user}\0${password}`), base64(password), password].sort((a, b) => b.length - a.length);
}
