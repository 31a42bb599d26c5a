import { type AddressInfo, createServer, type Socket } from "node:net";
import { createSecureContext, TLSSocket } from "node:tls";
import { type ParsedEmail, parseEmail } from "./email.ts";
import { testOnlyCertificate, testOnlyKey } from "./testOnlyCertificate.ts";

/**
 * A mail server by RFC 5321 on this machine, as much of it as a submission needs (EHLO, STARTTLS, AUTH PLAIN and LOGIN,
 * MAIL, RCPT, DATA, RSET, NOOP, QUIT), that can be told to misbehave as real ones do. Nothing of it is faked: it speaks over
 * a socket, insists on the order of commands, and keeps and reads the letters that it took.
 */
export interface SmtpServer {
  readonly port: number;
  /** What a client must trust to talk TLS with it. */
  readonly ca: string;
  /** How it treats clients from now on: always so, or each as it comes. */
  setBehaviour(behaviour: SmtpBehaviour | (() => SmtpBehaviour)): void;
  /** Letters taken, in the order in which they were. */
  readonly emails: readonly ReceivedEmail[];
  /** The next letter that is taken, from now on. */
  nextEmail(): Promise<ReceivedEmail>;
  readonly connections: number;
  /** What clients did that no client may. */
  readonly complaints: readonly string[];
  close(): Promise<void>;
}

export interface ReceivedEmail extends ParsedEmail {
  readonly from: string; // of the envelope
  readonly to: readonly string[];
  readonly secure: boolean;
  readonly user: string | null;
}

/** Where in an exchange; `answer` is after the last dot of the letter, when it is taken but not yet acknowledged. */
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
  /** Asks for this login before it takes anything. */
  readonly login?: { readonly user: string; readonly password: string } | null;
}

export async function startSmtpServer(options: SmtpServerOptions = {}): Promise<SmtpServer> {
  const { tls = "offered", login = null } = options;
  const house = {
    letters: [] as ReceivedEmail[],
    waiting: [] as ((letter: ReceivedEmail) => void)[],
    complaints: [] as string[],
    connections: 0,
  };
  let behaviour: SmtpBehaviour | (() => SmtpBehaviour) = options.behaviour ?? { kind: "accept" };
  const sockets = new Set<Socket>();

  const server = createServer((socket) => {
    house.connections++;
    sockets.add(socket);
    socket.on("close", () => sockets.delete(socket));
    socket.on("error", () => {}); // a client that leaves in the middle is what some tests are about
    const wire = tls === "fromStart" ? secured(socket) : socket;
    new Conversation(wire, {
      house,
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
    emails: house.letters,
    complaints: house.complaints,
    get connections() {
      return house.connections;
    },
    setBehaviour(next) {
      behaviour = next;
    },
    nextEmail: () => new Promise((resolve) => house.waiting.push(resolve)),
    async close() {
      const closed = new Promise((resolve) => server.close(resolve));
      for (const socket of sockets) socket.destroy();
      await closed;
    },
  };
}

interface House {
  readonly letters: ReceivedEmail[];
  waiting: ((letter: ReceivedEmail) => void)[];
  readonly complaints: string[];
}
interface Terms {
  readonly house: House;
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

/** One client at the counter. */
class Conversation {
  #wire: Socket;
  readonly #terms: Terms;
  #secure: boolean;
  #heard = "";
  #greeted = false;
  #user: string | null = null;
  #from: string | null = null;
  #to: string[] = [];
  #reading: "commands" | "letter" | "userName" | "password" = "commands";
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
      this.#heard += chunk.toString("utf8");
      this.#takeLines();
    });
    this.#wire.on("close", () => {
      for (const timer of this.#timers) clearInterval(timer);
    });
  }

  #takeLines(): void {
    for (;;) {
      if (this.#reading === "letter") {
        const end = this.#heard.indexOf("\r\n.\r\n");
        if (end === -1) return;
        const raw = this.#heard.slice(0, end + 2).replace(/^\.\./gm, ".");
        this.#heard = this.#heard.slice(end + 5);
        this.#reading = "commands";
        this.#take(raw);
      } else {
        const end = this.#heard.indexOf("\r\n");
        if (end === -1) return;
        const line = this.#heard.slice(0, end);
        this.#heard = this.#heard.slice(end + 2);
        this.#obey(line);
      }
    }
  }

  #obey(line: string) {
    if (/[\r\n]/.test(line)) this.#complain(`a bare CR or LF in ${JSON.stringify(line)}`);
    if (this.#reading === "userName") return this.#hearUser(line);
    if (this.#reading === "password") return this.#checkLogin(this.#askedUser, fromBase64(line));
    const [verb = "", ...rest] = line.split(" ");
    const said = rest.join(" ");
    switch (verb.toUpperCase()) {
      case "EHLO":
      case "HELO":
        this.#greeted = true;
        return this.#reply("hello", this.#welcome(verb.toUpperCase()));
      case "STARTTLS":
        return this.#startTls();
      case "AUTH":
        return this.#login(said);
      case "MAIL":
        return this.#hearSender(said);
      case "RCPT":
        return this.#hearRecipient(said);
      case "DATA":
        return this.#hearData();
      case "RSET":
        this.#from = null;
        this.#to = [];
        return this.#say("250 forgotten");
      case "NOOP":
        return this.#say("250 nothing done");
      case "QUIT":
        this.#say("221 good bye");
        this.#wire.end();
        return;
      default:
        this.#complain(`unknown command ${verb}`);
        return this.#say("500 what?");
    }
  }

  #welcome(verb: string): string {
    const { offersTls, login } = this.#terms;
    if (verb === "HELO") return "250 mail.example";
    const words = ["mail.example at your service", "8BITMIME", "SIZE 1000000"];
    if (offersTls && !this.#secure) words.push("STARTTLS");
    if (login !== null && (this.#secure || !offersTls)) words.push("AUTH PLAIN LOGIN");
    return words.map((word, index) => `250${index === words.length - 1 ? " " : "-"}${word}`).join("\r\n");
  }

  #startTls() {
    if (!this.#terms.offersTls || this.#secure) return this.#say("503 not offered");
    this.#say("220 go ahead");
    this.#wire.removeAllListeners("data");
    this.#wire = secured(this.#wire);
    this.#secure = true;
    // RFC 3207 section 4.2: whatever was said in the clear is forgotten.
    this.#heard = "";
    this.#greeted = false;
    this.#user = null;
    this.#listen();
  }

  // --- who it is -----------------------------------------------------------------------------------------------------

  #login(said: string) {
    if (this.#terms.login === null) return this.#say("503 no login here");
    if (this.#terms.offersTls && !this.#secure) this.#complain("a password in the clear");
    const [method, first] = said.split(" ");
    if (method === "PLAIN" && first !== undefined) {
      const [, user = "", password = ""] = fromBase64(first).split("\0");
      return this.#checkLogin(user, password);
    }
    if (method !== "LOGIN") return this.#say("504 not that way");
    if (first !== undefined) return this.#hearUser(first);
    this.#reading = "userName";
    this.#say("334 VXNlcm5hbWU6");
  }

  #hearUser(line: string) {
    this.#askedUser = fromBase64(line);
    this.#reading = "password";
    this.#say("334 UGFzc3dvcmQ6");
  }

  #checkLogin(user: string, password: string) {
    this.#reading = "commands";
    const { behaviour } = this.#terms;
    if (behaviour.kind === "say" && behaviour.at === "login") return this.#say(behaviour.reply);
    const { login } = this.#terms;
    if (user !== login?.user || password !== login.password) return this.#say("535 5.7.8 wrong user or password");
    this.#user = user;
    this.#say("235 welcome");
  }

  // --- the letter ----------------------------------------------------------------------------------------------------

  #hearSender(said: string) {
    const [, address] = /^FROM:<([^<>\s]+)>( |$)/i.exec(said) ?? [];
    if (!this.#greeted || address === undefined) {
      this.#complain(`expected a greeting and MAIL FROM:<…>, got ${said}`);
      return this.#say("503 greet me first");
    }
    if (this.#terms.login !== null && this.#user === null) return this.#say("530 5.7.0 log in first");
    this.#from = address;
    this.#reply("sender", "250 from there");
  }

  #hearRecipient(said: string) {
    const [, address] = /^TO:<([^<>\s]+)>( |$)/i.exec(said) ?? [];
    if (this.#from === null || address === undefined) {
      this.#complain(`expected a sender and RCPT TO:<…>, got ${said}`);
      return this.#say("503 from whom?");
    }
    this.#to.push(address);
    this.#reply("recipient", "250 to them");
  }

  #hearData() {
    if (this.#to.length === 0) return this.#say("503 to whom?");
    this.#reply("data", "354 go ahead, end with a dot", () => {
      this.#reading = "letter";
      this.#takeLines();
    });
  }

  #take(raw: string): void {
    const { house, behaviour } = this.#terms;
    // A server that refuses at the end has taken nothing; one whose line breaks after the dot has.
    const refuses = behaviour.kind === "say" && behaviour.at === "answer" && !behaviour.reply.startsWith("2");
    if (!refuses && this.#from !== null) {
      if (/[^\r]\n|\r[^\n]/.test(raw)) this.#complain("a bare CR or LF in a letter");
      const letter = {
        ...parseEmail(raw),
        from: this.#from,
        to: this.#to,
        secure: this.#secure,
        user: this.#user,
      };
      house.letters.push(letter);
      for (const tell of house.waiting.splice(0)) tell(letter);
    }
    this.#from = null;
    this.#to = [];
    this.#reply("answer", "250 2.0.0 taken");
  }

  // --- answering, or not ---------------------------------------------------------------------------------------------

  #reply(stage: SmtpStage, usual: string, then: () => void = () => {}) {
    const { behaviour } = this.#terms;
    if (behaviour.kind === "accept" || behaviour.at !== stage) {
      this.#say(usual);
      return then();
    }
    switch (behaviour.kind) {
      case "say":
        this.#say(behaviour.reply);
        if (behaviour.reply.startsWith("421")) this.#wire.end(); // RFC 5321 section 3.8
        return;
      case "hang":
        return;
      case "cutLine":
        this.#wire.destroy();
        return;
      case "delay": {
        const timer = setTimeout(() => {
          this.#say(usual);
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

  #say(line: string): void {
    if (!this.#wire.destroyed) this.#wire.write(`${line}\r\n`);
  }

  #complain(words: string): void {
    this.#terms.house.complaints.push(words);
  }
}

const fromBase64 = (text: string): string => Buffer.from(text, "base64").toString("utf8");
