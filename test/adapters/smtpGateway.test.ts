import type { AddressInfo } from "node:net";
import { createServer } from "node:net";
import fc from "fast-check";
import { afterEach, describe, expect, it } from "vitest";
import { noEmail, type SmtpSettings, smtpGateway } from "../../server/adapters/smtpGateway.ts";
import type { Email } from "../../server/domain/email/email.ts";
import { notificationEmail } from "../../server/domain/email/notificationEmail.ts";
import { instantOf } from "../../server/domain/instant.ts";
import type { EmailOutcome } from "../../server/ports.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import {
  type SmtpBehaviour,
  type SmtpServer,
  type SmtpServerOptions,
  type SmtpStage,
  startSmtpServer,
} from "../support/smtpServer.ts";

const writtenAt = instantOf("2026-01-15T06:30:00Z");
const login = { user: "pieward@example.org", password: "corvid biscuit" };
const ada = "ada@example.org";

let servers: SmtpServer[] = [];
async function open(options: SmtpServerOptions = {}): Promise<SmtpServer> {
  const server = await startSmtpServer(options);
  servers.push(server);
  return server;
}
afterEach(async () => {
  for (const server of servers) await server.close();
  servers = [];
});

function gateway(port: number, different: Partial<SmtpSettings> = {}, timeoutMs = 5_000, trust = true) {
  return smtpGateway(
    {
      host: "localhost",
      port,
      tls: "startTls",
      login: null,
      from: { name: "Alder Croft", address: "pieward@alder.example" },
      ...different,
    },
    { connectTimeoutMs: Math.min(timeoutMs, 2_000), timeoutMs, ...(trust ? { ca: servers[0]?.ca ?? "" } : {}) },
  );
}

const emailFixture = (different: Parameters<typeof notificationFixture>[0] = {}): Email =>
  notificationEmail(notificationFixture(different), {
    yardName: "Alder Croft",
    feederName: "Rowan",
    link: "https://pieward.example/f",
  });

const sendTo = (server: SmtpServer, email = emailFixture(), id = "item-1", to = ada) =>
  gateway(server.port).send(to, email, id, writtenAt);

describe("e-mail", () => {
  it("is handed to the mail server as text and HTML that a mail program can read", async () => {
    const server = await open();
    const email = emailFixture({ title: "Larch: hopper empty 🐦‍⬛", body: "Ett skrovmål för många skator.\nFyll på." });
    expect(await sendTo(server, email)).toEqual({ kind: "accepted" });
    expect(server.complaints).toEqual([]);
    const [received] = server.emails;
    expect(received).toMatchObject({ from: "pieward@alder.example", to: [ada], secure: true, subject: email.subject });
    expect(received?.bodies).toEqual([
      { type: "text/plain", text: email.text },
      { type: "text/html", text: email.html },
    ]);
    expect(received?.headers.get("from")).toEqual(["Alder Croft <pieward@alder.example>"]);
    expect(received?.headers.get("to")).toEqual([ada]);
    expect(received?.headers.get("content-type")?.[0]).toMatch(/^multipart\/alternative;/);
  });

  it("has its date, and a header for automatic messages (RFC 3834)", async () => {
    const server = await open();
    await sendTo(server);
    expect(server.emails[0]?.headers.get("date")).toEqual(["Thu, 15 Jan 2026 06:30:00 +0000"]);
    expect(server.emails[0]?.headers.get("auto-submitted")).toEqual(["auto-generated"]);
  });

  it("has the same opaque id each time it is sent", async () => {
    const server = await open();
    await sendTo(server, emailFixture(), "item-1");
    await sendTo(server, emailFixture(), "item-1");
    await sendTo(server, emailFixture(), "item-2");
    const [first, again, other] = server.emails.map(({ messageId }) => messageId);
    expect(first).toMatch(/^<[0-9a-f]{32}@alder\.example>$/);
    expect(again).toBe(first);
    expect(other).not.toBe(first);
  });

  it("about one alarm is in one thread", async () => {
    const server = await open();
    await sendTo(server, emailFixture({ title: "Rowan: food low" }), "item-1");
    await sendTo(server, emailFixture({ title: "Rowan: refilled" }), "item-2");
    await sendTo(server, emailFixture({ topic: "alarm-trayJammed-rowan" }), "item-3");
    const threads = server.emails.map(({ headers }) => headers.get("references")?.[0]);
    expect(threads[0]).toMatch(/^<[0-9a-f]{32}@alder\.example>$/);
    expect(threads[1]).toBe(threads[0]);
    expect(threads[2]).not.toBe(threads[0]);
    expect(server.emails.map(({ messageId }) => messageId)).not.toContain(threads[0]);
  });

  it("has a connection of its own", async () => {
    const server = await open();
    const sender = gateway(server.port);
    await sender.send(ada, emailFixture(), "item-1", writtenAt);
    await sender.send(ada, emailFixture(), "item-2", writtenAt);
    expect(server.connections).toBe(2);
  });

  it("is refused where no mail server is configured", async () => {
    expect(noEmail.isConfigured).toBe(false);
    expect(await noEmail.send(ada, emailFixture(), "item-1", writtenAt)).toMatchObject({ kind: "refused" });
  });
});

describe("e-mail understands the answer of a server:", () => {
  const say = (at: SmtpStage | "login", reply: string): SmtpBehaviour => ({ kind: "say", at, reply });
  const later = (text: string | RegExp) => ({
    kind: "tryLater",
    notBefore: null,
    text: typeof text === "string" ? text : expect.stringMatching(text),
  });
  const silent = { ...later(/./), noAnswer: true };
  const uncertain = { ...silent, mayHaveArrived: true };
  const refused = (text: string) => ({ kind: "refused", text });
  const cases: readonly [name: string, behaviour: SmtpBehaviour, outcome: object][] = [
    ["another 2yz at the end", say("answer", "251 forwarded"), { kind: "accepted" }],
    ["an answer in several lines", say("answer", "250-thanks\r\n250 taken"), { kind: "accepted" }],
    ["a slow answer", { kind: "delay", at: "answer", milliseconds: 50 }, { kind: "accepted" }],
    ["no service here (554 in its banner)", say("banner", "554 go away"), refused("554 go away")],
    ["too busy in its banner (421)", say("banner", "421 4.3.2 come back"), later("421 4.3.2 come back")],
    ["a refused sender (550)", say("sender", "550 5.7.1 not you"), refused("550 5.7.1 not you")],
    ["a temporarily refused sender (451)", say("sender", "451 4.3.0 later"), later("451 4.3.0 later")],
    ["a refused recipient (550)", say("recipient", "550 5.1.1 no such box"), refused("550 5.1.1 no such box")],
    ["a greylisted recipient (451)", say("recipient", "451 4.7.1 try again"), later("451 4.7.1 try again")],
    ["a full mailbox (452)", say("recipient", "452 4.2.2 full"), later("452 4.2.2 full")],
    ["too busy in the middle (421)", say("recipient", "421 closing"), later("421 closing")],
    ["no to DATA (554)", say("data", "554 no"), refused("554 no")],
    ["no to its content (552)", say("answer", "552 5.3.4 too big"), refused("552 5.3.4 too big")],
    ["later to its content (451)", say("answer", "451 4.3.0 disk"), later("451 4.3.0 disk")],
    [
      "text over several lines",
      say("sender", "550-no\r\n550-\tand no\r\n550 \u0007never"),
      refused("550-no 550- and no 550 never"),
    ],
    ["nonsense", say("hello", "hello yourself"), later(/hello yourself/)],
    ["a broken connection before the banner", { kind: "cutLine", at: "banner" }, silent],
    ["a broken connection after the greeting", { kind: "cutLine", at: "hello" }, silent],
    ["a broken connection after the sender", { kind: "cutLine", at: "sender" }, silent],
    ["a broken connection after the recipient", { kind: "cutLine", at: "recipient" }, silent],
    ["a broken connection after DATA", { kind: "cutLine", at: "data" }, silent],
    ["a broken connection after the last dot", { kind: "cutLine", at: "answer" }, uncertain],
    ["a banner without end", { kind: "flood", at: "banner" }, silent],
    ["an answer without end", { kind: "flood", at: "answer" }, uncertain],
  ];
  it.each(cases)("%s", async (_, behaviour, outcome) => {
    const server = await open({ behaviour });
    expect(await sendTo(server)).toEqual(outcome);
    expect(server.connections).toBe(1); // the outbox tries again, not the gateway
    expect(server.complaints).toEqual([]);
    // The server has the e-mail where it accepts it, and where its answer is lost.
    const isRefused = behaviour.kind === "say" && !behaviour.reply.startsWith("2");
    const isReceived = behaviour.kind !== "accept" && behaviour.at === "answer" && !isRefused;
    expect(server.emails).toHaveLength(isReceived ? 1 : 0);
  });

  it.each<SmtpStage>(["banner", "hello", "sender", "recipient", "data", "answer"])(
    "no answer at the %s: it waits no longer than its timeout",
    async (at) => {
      const server = await open({ behaviour: { kind: "hang", at } });
      const outcome = await gateway(server.port, {}, 150).send(ada, emailFixture(), "item-1", writtenAt);
      const uncertainty = at === "answer" ? { mayHaveArrived: true } : {};
      const text = expect.stringMatching(/./);
      expect(outcome).toEqual({ kind: "tryLater", notBefore: null, text, noAnswer: true, ...uncertainty });
    },
  );

  it.each<SmtpStage>(["banner", "hello", "answer"])("a slow reply without end at the %s", async (at) => {
    const server = await open({ behaviour: { kind: "trickle", at } });
    const outcome = await gateway(server.port, {}, 150).send(ada, emailFixture(), "item-1", writtenAt);
    expect(outcome).toMatchObject({ kind: "tryLater" });
  });

  it("stores no more than a short line of a reply", async () => {
    const server = await open({ behaviour: say("sender", `550 ${"no ".repeat(1_000)}`) });
    const outcome = await sendTo(server);
    expect(outcome.kind === "refused" && outcome.text.length).toBeLessThanOrEqual(200);
  });

  it("tries later where no server listens, or the name is not found", async () => {
    const server = await open();
    await server.close();
    servers = [];
    expect(await gateway(server.port, {}, 2_000, false).send(ada, emailFixture(), "i", writtenAt)).toMatchObject({
      kind: "tryLater",
      text: expect.stringContaining("ECONNREFUSED"),
    });
    const lost = gateway(25, { host: "no.such.host.invalid" }, 2_000, false);
    expect(await lost.send(ada, emailFixture(), "i", writtenAt)).toMatchObject({ kind: "tryLater" });
  });

  it("ends with a server that accepts the connection and never answers", async () => {
    const mute = createServer((socket) => socket.on("error", () => {}).resume());
    await new Promise<void>((resolve) => mute.listen(0, "127.0.0.1", resolve));
    const { port } = mute.address() as AddressInfo;
    const sender = gateway(port, { tls: "fromStart" }, 150, false);
    expect(await sender.send(ada, emailFixture(), "i", writtenAt)).toMatchObject({ kind: "tryLater" });
    await new Promise((resolve) => mute.close(resolve));
  });
});

describe("e-mail and TLS", () => {
  it("uses TLS from the start where configured", async () => {
    const server = await open({ tls: "fromStart" });
    const sender = gateway(server.port, { tls: "fromStart" });
    expect(await sender.send(ada, emailFixture(), "i", writtenAt)).toEqual({ kind: "accepted" });
    expect(server.emails[0]?.secure).toBe(true);
  });

  it("sends nothing to a server without the required TLS", async () => {
    const server = await open({ tls: "none" });
    expect(await sendTo(server)).toMatchObject({ kind: "tryLater" });
    expect(server.emails).toEqual([]);
  });

  it("trusts only configured certificates, and only for their own name", async () => {
    const server = await open();
    expect(await gateway(server.port, {}, 2_000, false).send(ada, emailFixture(), "i", writtenAt)).toMatchObject({
      kind: "tryLater",
    });
    const elsewhere = gateway(server.port, { host: "127.0.0.2" });
    expect((await elsewhere.send(ada, emailFixture(), "i", writtenAt)).kind).toBe("tryLater");
    expect(server.emails).toEqual([]);
  });

  it("uses TLS where it is optional and offered", async () => {
    const offers = await open({ tls: "offered" });
    const plain = await open({ tls: "none" });
    for (const { port } of [offers, plain]) {
      const sender = gateway(port, { tls: "ifOffered" }, 2_000, false);
      expect(await sender.send(ada, emailFixture(), "i", writtenAt)).toEqual({ kind: "accepted" });
    }
    expect([offers, plain].map(({ emails }) => emails[0]?.secure)).toEqual([true, false]);
  });
});

describe("e-mail and the login", () => {
  it("logs in after TLS only", async () => {
    const server = await open({ login });
    const sender = gateway(server.port, { login });
    expect(await sender.send(ada, emailFixture(), "i", writtenAt)).toEqual({ kind: "accepted" });
    expect(server.emails[0]?.user).toBe(login.user);
    expect(server.complaints).toEqual([]);
  });

  it("is refused with a wrong password, or without one", async () => {
    const server = await open({ login });
    const wrong = gateway(server.port, { login: { ...login, password: "magpie" } });
    expect(await wrong.send(ada, emailFixture(), "i", writtenAt)).toEqual({
      kind: "refused",
      text: "535 5.7.8 wrong user or password",
    });
    expect(await sendTo(server)).toEqual({ kind: "refused", text: "530 5.7.0 log in first" });
  });

  it("tries later where the server can't check the login just now (454)", async () => {
    const server = await open({ login, behaviour: { kind: "say", at: "login", reply: "454 4.7.0 later" } });
    const sender = gateway(server.port, { login });
    expect(await sender.send(ada, emailFixture(), "i", writtenAt)).toMatchObject({
      kind: "tryLater",
      text: "454 4.7.0 later",
    });
  });

  it("never shows the password, not even where the server repeats it", async () => {
    const token = Buffer.from(`\0${login.user}\0${login.password}`).toString("base64");
    const reply = `535 AUTH PLAIN ${token} (${login.password}) is wrong`;
    const server = await open({ login, behaviour: { kind: "say", at: "login", reply } });
    const outcome = await gateway(server.port, { login }).send(ada, emailFixture(), "i", writtenAt);
    expect(outcome).toEqual({ kind: "refused", text: "535 AUTH PLAIN … (…) is wrong" });
  });
});

describe("e-mail lets no text add headers", () => {
  const evil = "x\r\nBcc: cilla@example.org\r\nX-Evil: 1\r\n\r\n<script>";

  it("from a notification", async () => {
    const server = await open();
    const email = notificationEmail(notificationFixture({ title: evil, body: evil, topic: evil }), {
      yardName: evil,
      feederName: evil,
      link: "https://pieward.example/",
    });
    expect(await sendTo(server, email)).toEqual({ kind: "accepted" });
    // And where the e-mail itself is unsafe:
    expect(await sendTo(server, { ...email, subject: evil, topic: evil }, evil)).toEqual({ kind: "accepted" });
    for (const { headers, to, subject } of server.emails) {
      expect([...headers.keys()].filter((name) => name === "bcc" || name === "x-evil")).toEqual([]);
      expect(to).toEqual([ada]);
      expect(subject).toBe("x Bcc: cilla@example.org X-Evil: 1 <script>");
    }
    expect(server.emails).toHaveLength(2);
    expect(server.complaints).toEqual([]);
  });

  it("from an address, which is refused before anything is sent", async () => {
    const server = await open();
    for (const to of [
      evil,
      `ada@example.org\r\nDATA`,
      "ada@example.org, bo@example.org",
      "Ada <ada@example.org>",
      "",
    ]) {
      expect(await sendTo(server, emailFixture(), "i", to)).toEqual({
        kind: "refused",
        text: "the e-mail address is not valid",
      });
    }
    expect(server.connections).toBe(0);
  });

  it("from any text: one subject, one recipient, the same text on arrival", async () => {
    const server = await open();
    const sender = gateway(server.port);
    await fc.assert(
      fc.asyncProperty(fc.string({ unit: "grapheme", maxLength: 60 }), async (text) => {
        const email = emailFixture({ title: `T ${text}`, body: `B ${text}` });
        const outcome: EmailOutcome = await sender.send(ada, email, text, writtenAt);
        expect(outcome).toEqual({ kind: "accepted" });
        const received = server.emails.at(-1);
        expect(received?.subject).toBe(email.subject);
        expect(received?.bodies[0]?.text).toBe(email.text);
        expect(received?.bodies[1]?.text).toBe(email.html);
      }),
      { numRuns: 40 },
    );
    expect(server.complaints).toEqual([]);
  });
});
