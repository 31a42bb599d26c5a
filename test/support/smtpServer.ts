import { type AddressInfo, createServer, type Socket } from "node:net";
import { createSecureContext, TLSSocket } from "node:tls";
import { type ParsedEmail, parseEmail } from "./email.ts";
import { testOnlyCertificate, testOnlyKey } from "./testOnlyCertificate.ts";

/**
 * A mail server by RFC 5321 on this machine, as much of it as a submission needs (EHLO, STARTTLS, AUTH PLAIN and LOGIN,
 * MAIL, RCPT, DATA, RSET, NOOP, QUIT), that fails as real ones do when the test wants it. It works over
 * a real socket, requires the order of commands, and stores and reads the emails that it took.
 */
export interface SmtpServer {
  readonly port: number;
  /** The certificate that a client must trust for TLS. */
  readonly ca: string;
  /** How it treats clients from now on: always so, or each as it comes. */
  setBehaviour(behaviour: SmtpBehaviour | (() => SmtpBehaviour)): void;
  /** Emails taken, in their order. */
  readonly emails: readonly ReceivedEmail[];
  /** The next email that is taken, from now on. */
  nextEmail(): Promise<ReceivedEmail>;
  readonly connections: number;
  /** What clients did against the protocol. */
  readonly complaints: readonly string[];
  close(): Promise<void>;
}

export interface ReceivedEmail extends ParsedEmail {
  readonly from: string; // of the envelope
  readonly to: readonly string[];
  readonly secure: boolean;
  readonly user: string | null;
}

/** Where in a delivery; `answer` is after the last dot of the email, when it is taken but not yet acknowledged. */
export type SmtpStage = "banner" | "hello" | "sender" | "recipient" | "data" | "answer";

export type SmtpBehaviour =
  | { readonly kind: "accept" }
  | { readonly kind: "say"; readonly at: SmtpStage | "login"; readonly reply: string } // such as `550 no such mailbox`
  | { readonly kind: "hang"; readonly at: SmtpStage }
  | { readonly kind: "cutLine"; readonly at: SmtpStage }
  | { readonly kind: "delay"; readonly at: SmtpStage; readonly milliseconds: number }
  | { readonly kind: "trickle"; readonly at: SmtpStage } // an endless reply, a character at a time
  | { readonly kind: "flood"; readonly at: SmtpStage }; // an endless reply, all at once

export interface SmtpServerOptions {
  readonly behaviour?: SmtpBehaviour;
  /** `fromStart`: smtps. `offered`: STARTTLS. */
  readonly tls?: "none" | "offered" | "fromStart";
  /** Wants this login before it takes anything. */
  readonly login?: { readonly user: string; readonly password: string } | null;
}

export async function startSmtpServer(options: SmtpServerOptions = {}): Promise<SmtpServer> {
  const { tls = "offered", login = null } = options;
  const record = {
    emails: [] as ReceivedEmail[],
    waiting: [] as ((email: ReceivedEmail) => void)[],
    complaints: [] as string[],
    connections: 0,
  };
  let behaviour: SmtpBehaviour | (() => SmtpBehaviour) = options.behaviour ?? { kind: "accept" };
  const sockets = new Set<Socket>();

  const server = createServer((socket) => {
    record.connections++;
    sockets.add(socket);
    socket.on("close", () => sockets.delete(socket));
    socket.on("error", () => {}); // some tests test a client that disconnects early
    const wire = tls === "fromStart" ? secured(socket) : socket;
    new Conversation(wire, {
      record,
      behaviour: typeof behaviour === "function" ? behaviour() : behaviour,
      offersTls: tls === "offered",
      secure: tls === "fromStart",
      login,
    }).begin();
  });
  server.listen(0, "127.0.0.1");
  await new Promise((resolve) => server.once("listening", resolve));

  return {
    port: (server.address() as AddressInfo).port,
    ca: testOnlyCertificate,
    emails: record.emails,
    complaints: record.complaints,
    get connections() {
      return record.connections;
    },
    setBehaviour(next) {
      behaviour = next;
    },
    nextEmail: () => new Promise((resolve) => record.waiting.push(resolve)),
    async close() {
      const closed = new Promise((resolve) => server.close(resolve));
      for (const socket of sockets) socket.destroy();
      await closed;
    },
  };
}

interface ServerRecord {
  readonly emails: ReceivedEmail[];
  waiting: ((email: ReceivedEmail) => void)[];
  readonly complaints: string[];
}
interface Terms {
  readonly record: ServerRecord;
  readonly behaviour: SmtpBehaviour;
  readonly offersTls: boolean;
  readonly secure: boolean;
  readonly login: { readonly user: string; readonly password: string } | null;
}

function secured(socket: Socket): TLSSocket {
  const secureContext = createSecureContext({ key: testOnlyKey, cert: testOnlyCertificate });
  const wire = new TLSSocket(socket, { isServer: true, secureContext });
  wire.on("error", () => {}); // a client that doesn't trust the certificate
  return wire;
}

/** One connected client. */
class Conversation {
  #wire: Socket;
  readonly #terms: Terms;
  #secure: boolean;
  #received = "";
  #greeted = false;
  #user: string | null = null;
  #from: string | null = null;
  #to: string[] = [];
  #reading: "commands" | "email" | "userName" | "password" = "commands";
  #askedUser = "";
  readonly #timers = new Set<NodeJS.Timeout>();

  constructor(wire: Socket, terms: Terms) {
    this.#wire = wire;
    this.#terms = terms;
    this.#secure = terms.secure;
  }

  begin(): void {
    this.#listen();
    this.#reply("banner", "220 mail.example ready");
  }

  #listen(): void {
    this.#wire.on("data", (chunk: Buffer) => {
      this.#received += chunk.toString("utf8");
      this.#takeLines();
    });
    this.#wire.on("close", () => {
      for (const timer of this.#timers) clearInterval(timer);
    });
  }

  #takeLines(): void {
    for (;;) {
      if (this.#reading === "email") {
        const end = this.#received.indexOf("\r\n.\r\n");
        if (end === -1) return;
        const raw = this.#received.slice(0, end + 2).replace(/^\.\./gm, ".");
        this.#received = this.#received.slice(end + 5);
        this.#reading = "commands";
        this.#take(raw);
      } else {
        const end = this.#received.indexOf("\r\n");
        if (end === -1) return;
        const line = this.#received.slice(0, end);
        this.#received = this.#received.slice(end + 2);
        this.#runCommand(line);
      }
    }
  }

  #runCommand(line: string) {
    if (/[\r\n]/.test(line)) this.#complain(`a bare CR or LF in ${JSON.stringify(line)}`);
    if (this.#reading === "userName") return this.#hearUser(line);
    if (this.#reading === "password") return this.#checkLogin(this.#askedUser, fromBase64(line));
    const [verb = "", ...rest] = line.split(" ");
    const parameters = rest.join(" ");
    switch (verb.toUpperCase()) {
      case "EHLO":
      case "HELO":
        this.#greeted = true;
        return this.#reply("hello", this.#welcome(verb.toUpperCase()));
      case "STARTTLS":
        return this.#startTls();
      case "AUTH":
        return this.#login(parameters);
      case "MAIL":
        return this.#takeSender(parameters);
      case "RCPT":
        return this.#takeRecipient(parameters);
      case "DATA":
        return this.#hearData();
      case "RSET":
        this.#from = null;
        this.#to = [];
        return this.#sendLine("250 forgotten");
      case "NOOP":
        return this.#sendLine("250 nothing done");
      case "QUIT":
        this.#sendLine("221 good bye");
        this.#wire.end();
        return;
      default:
        this.#complain(`unknown command ${verb}`);
        return this.#sendLine("500 what?");
    }
  }

  #welcome(verb: string): string {
    const { offersTls, login } = this.#terms;
    if (verb === "HELO") return "250 mail.example";
    const extensions = ["mail.example at your service", "8BITMIME", "SIZE 1000000"];
    if (offersTls && !this.#secure) extensions.push("STARTTLS");
    if (login !== null && (this.#secure || !offersTls)) extensions.push("AUTH PLAIN LOGIN");
    return extensions
      .map((extension, index) => `250${index === extensions.length - 1 ? " " : "-"}${extension}`)
      .join("\r\n");
  }

  #startTls() {
    if (!this.#terms.offersTls || this.#secure) return this.#sendLine("503 not offered");
    this.#sendLine("220 go ahead");
    this.#wire.removeAllListeners("data");
    this.#wire = secured(this.#wire);
    this.#secure = true;
    // RFC 3207 section 4.2: whatever was sent in the clear is forgotten.
    this.#received = "";
    this.#greeted = false;
    this.#user = null;
    this.#listen();
  }

  // --- who it is -----------------------------------------------------------------------------------------------------

  #login(parameters: string) {
    if (this.#terms.login === null) return this.#sendLine("503 no login here");
    if (this.#terms.offersTls && !this.#secure) this.#complain("a password in the clear");
    const [method, first] = parameters.split(" ");
    if (method === "PLAIN" && first !== undefined) {
      const [, user = "", password = ""] = fromBase64(first).split("\0");
      return this.#checkLogin(user, password);
    }
    if (method !== "LOGIN") return this.#sendLine("504 not that way");
    if (first !== undefined) return this.#hearUser(first);
    this.#reading = "userName";
    this.#sendLine("334 VXNlcm5hbWU6");
  }

  #hearUser(line: string) {
    this.#askedUser = fromBase64(line);
    this.#reading = "password";
    this.#sendLine("334 UGFzc3dvcmQ6");
  }

  #checkLogin(user: string, password: string) {
    this.#reading = "commands";
    const { behaviour } = this.#terms;
    if (behaviour.kind === "say" && behaviour.at === "login") return this.#sendLine(behaviour.reply);
    const { login } = this.#terms;
    if (user !== login?.user || password !== login.password) return this.#sendLine("535 5.7.8 wrong user or password");
    this.#user = user;
    this.#sendLine("235 welcome");
  }

  // --- the email -----------------------------------------------------------------------------------------------------

  #takeSender(parameters: string) {
    const [, address] = /^FROM:<([^<>\s]+)>( |$)/i.exec(parameters) ?? [];
    if (!this.#greeted || address === undefined) {
      this.#complain(`expected a greeting and MAIL FROM:<…>, got ${parameters}`);
      return this.#sendLine("503 greet me first");
    }
    if (this.#terms.login !== null && this.#user === null) return this.#sendLine("530 5.7.0 log in first");
    this.#from = address;
    this.#reply("sender", "250 from there");
  }

  #takeRecipient(parameters: string) {
    const [, address] = /^TO:<([^<>\s]+)>( |$)/i.exec(parameters) ?? [];
    if (this.#from === null || address === undefined) {
      this.#complain(`expected a sender and RCPT TO:<…>, got ${parameters}`);
      return this.#sendLine("503 from whom?");
    }
    this.#to.push(address);
    this.#reply("recipient", "250 to them");
  }

  #hearData() {
    if (this.#to.length === 0) return this.#sendLine("503 to whom?");
    this.#reply("data", "354 go ahead, end with a dot", () => {
      this.#reading = "email";
      this.#takeLines();
    });
  }

  #take(raw: string): void {
    const { record, behaviour } = this.#terms;
    // A server that refuses at the end has taken nothing; one whose line breaks after the dot has.
    const refuses = behaviour.kind === "say" && behaviour.at === "answer" && !behaviour.reply.startsWith("2");
    if (!refuses && this.#from !== null) {
      if (/[^\r]\n|\r[^\n]/.test(raw)) this.#complain("a bare CR or LF in an email");
      const email = {
        ...parseEmail(raw),
        from: this.#from,
        to: this.#to,
        secure: this.#secure,
        user: this.#user,
      };
      record.emails.push(email);
      for (const notify of record.waiting.splice(0)) notify(email);
    }
    this.#from = null;
    this.#to = [];
    this.#reply("answer", "250 2.0.0 taken");
  }

  // --- answering, or not ---------------------------------------------------------------------------------------------

  #reply(stage: SmtpStage, usual: string, then: () => void = () => {}) {
    const { behaviour } = this.#terms;
    if (behaviour.kind === "accept" || behaviour.at !== stage) {
      this.#sendLine(usual);
      return then();
    }
    switch (behaviour.kind) {
      case "say":
        this.#sendLine(behaviour.reply);
        if (behaviour.reply.startsWith("421")) this.#wire.end(); // RFC 5321 section 3.8
        return;
      case "hang":
        return;
      case "cutLine":
        this.#wire.destroy();
        return;
      case "delay": {
        const timer = setTimeout(() => {
          this.#sendLine(usual);
          then();
        }, behaviour.milliseconds);
        this.#timers.add(timer);
        return;
      }
      case "trickle": {
        const timer = setInterval(() => this.#wire.write("2"), 5);
        this.#timers.add(timer);
        return;
      }
      case "flood": {
        const pour = () => {
          while (!this.#wire.destroyed && this.#wire.write(`250-${"x".repeat(65_536)}\r\n`));
        };
        this.#wire.on("drain", pour);
        return pour();
      }
    }
  }

  #sendLine(line: string): void {
    if (!this.#wire.destroyed) this.#wire.write(`${line}\r\n`);
  }

  #complain(text: string): void {
    this.#terms.record.complaints.push(text);
  }
}

const fromBase64 = (text: string): string => Buffer.from(text, "base64").toString("utf8");
