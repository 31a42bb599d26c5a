import type { AddressInfo } from "node:net";
import { createServer } from "node:net";
import fc from "fast-check";
import { afterEach, describe, expect, it } from "vitest";
import { noEmail, type SmtpSettings, smtpGateway } from "../../server/adapters/smtpGateway.ts";
import type { Email } from "../../server/domain/email/email.ts";
import { notificationEmail } from "../../server/domain/email/notificationEmail.ts";
import { instantOf } from "../../server/domain/instant.ts";
import type { MailOutcome } from "../../server/ports.ts";
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

const aLetter = (different: Parameters<typeof notificationFixture>[0] = {}): Email =>
  notificationEmail(notificationFixture(different), {
    yardName: "Alder Croft",
    feederName: "Rowan",
    link: "https://pieward.example/f",
  });

const sendTo = (server: SmtpServer, letter = aLetter(), id = "item-1", to = ada) =>
  gateway(server.port).send(to, letter, id, writtenAt);

describe("mail", () => {
  it("brings a letter to the mail server, in text and in HTML, so that a mail program can read it", async () => {
    const server = await open();
    const letter = aLetter({ title: "Larch: hopper empty 🐦‍⬛", body: "Ett skrovmål för många skator.\nFyll på." });
    expect(await sendTo(server, letter)).toEqual({ kind: "accepted" });
    expect(server.complaints).toEqual([]);
    const [taken] = server.emails;
    expect(taken).toMatchObject({ from: "pieward@alder.example", to: [ada], secure: true, subject: letter.subject });
    expect(taken?.bodies).toEqual([
      { type: "text/plain", text: letter.text },
      { type: "text/html", text: letter.html },
    ]);
    expect(taken?.headers.get("from")).toEqual(["Alder Croft <pieward@alder.example>"]);
    expect(taken?.headers.get("to")).toEqual([ada]);
    expect(taken?.headers.get("content-type")?.[0]).toMatch(/^multipart\/alternative;/);
  });

  it("says when it was written, and that no person wrote it (RFC 3834)", async () => {
    const server = await open();
    await sendTo(server);
    expect(server.emails[0]?.headers.get("date")).toEqual(["Thu, 15 Jan 2026 06:30:00 +0000"]);
    expect(server.emails[0]?.headers.get("auto-submitted")).toEqual(["auto-generated"]);
  });

  it("has one id a letter, however often it is sent, and tells nothing by it", async () => {
    const server = await open();
    await sendTo(server, aLetter(), "item-1");
    await sendTo(server, aLetter(), "item-1");
    await sendTo(server, aLetter(), "item-2");
    const [first, again, other] = server.emails.map(({ messageId }) => messageId);
    expect(first).toMatch(/^<[0-9a-f]{32}@alder\.example>$/);
    expect(again).toBe(first);
    expect(other).not.toBe(first);
  });

  it("lets the letters about one alarm stand together", async () => {
    const server = await open();
    await sendTo(server, aLetter({ title: "Rowan: food low" }), "item-1");
    await sendTo(server, aLetter({ title: "Rowan: refilled" }), "item-2");
    await sendTo(server, aLetter({ topic: "alarm-trayJammed-rowan" }), "item-3");
    const threads = server.emails.map(({ headers }) => headers.get("references")?.[0]);
    expect(threads[0]).toMatch(/^<[0-9a-f]{32}@alder\.example>$/);
    expect(threads[1]).toBe(threads[0]);
    expect(threads[2]).not.toBe(threads[0]);
    expect(server.emails.map(({ messageId }) => messageId)).not.toContain(threads[0]);
  });

  it("keeps no connection: the next letter finds no dead one", async () => {
    const server = await open();
    const post = gateway(server.port);
    await post.send(ada, aLetter(), "item-1", writtenAt);
    await post.send(ada, aLetter(), "item-2", writtenAt);
    expect(server.connections).toBe(2);
  });

  it("says nothing where no mail server is configured", async () => {
    expect(noEmail.isConfigured).toBe(false);
    expect(await noEmail.send(ada, aLetter(), "item-1", writtenAt)).toMatchObject({ kind: "refused" });
  });
});

describe("mail takes what a server answers for what it means:", () => {
  const say = (at: SmtpStage | "login", reply: string): SmtpBehaviour => ({ kind: "say", at, reply });
  const later = (words: string | RegExp) => ({
    kind: "tryLater",
    notBefore: null,
    words: typeof words === "string" ? words : expect.stringMatching(words),
  });
  const silent = { ...later(/./), noAnswer: true };
  const unsure = { ...silent, mayHaveArrived: true };
  const refused = (words: string) => ({ kind: "refused", words });
  const cases: readonly [name: string, behaviour: SmtpBehaviour, outcome: object][] = [
    ["another 2yz at the end", say("answer", "251 forwarded"), { kind: "accepted" }],
    ["an answer in several lines", say("answer", "250-thanks\r\n250 taken"), { kind: "accepted" }],
    ["a slow answer", { kind: "delay", at: "answer", milliseconds: 50 }, { kind: "accepted" }],
    ["no service here (554 in its banner)", say("banner", "554 go away"), refused("554 go away")],
    ["too busy at the door (421)", say("banner", "421 4.3.2 come back"), later("421 4.3.2 come back")],
    ["a refused sender (550)", say("sender", "550 5.7.1 not you"), refused("550 5.7.1 not you")],
    ["a sender put off (451)", say("sender", "451 4.3.0 later"), later("451 4.3.0 later")],
    ["a refused recipient (550)", say("recipient", "550 5.1.1 no such box"), refused("550 5.1.1 no such box")],
    ["a greylisted recipient (451)", say("recipient", "451 4.7.1 try again"), later("451 4.7.1 try again")],
    ["a full letterbox (452)", say("recipient", "452 4.2.2 full"), later("452 4.2.2 full")],
    ["too busy in the middle (421)", say("recipient", "421 closing"), later("421 closing")],
    ["no to the letter (554)", say("data", "554 no"), refused("554 no")],
    ["no to its content (552)", say("answer", "552 5.3.4 too big"), refused("552 5.3.4 too big")],
    ["later to its content (451)", say("answer", "451 4.3.0 disk"), later("451 4.3.0 disk")],
    [
      "words over several lines",
      say("sender", "550-no\r\n550-\tand no\r\n550 \u0007never"),
      refused("550-no 550- and no 550 never"),
    ],
    ["nonsense", say("hello", "hello yourself"), later(/hello yourself/)],
    ["a cut line before the banner", { kind: "cutLine", at: "banner" }, silent],
    ["a cut line after the greeting", { kind: "cutLine", at: "hello" }, silent],
    ["a cut line after the sender", { kind: "cutLine", at: "sender" }, silent],
    ["a cut line after the recipient", { kind: "cutLine", at: "recipient" }, silent],
    ["a cut line after DATA", { kind: "cutLine", at: "data" }, silent],
    ["a cut line after the last dot", { kind: "cutLine", at: "answer" }, unsure],
    ["a flood at the door", { kind: "flood", at: "banner" }, silent],
    ["a flood at the end", { kind: "flood", at: "answer" }, unsure],
  ];
  it.each(cases)("%s", async (_, behaviour, outcome) => {
    const server = await open({ behaviour });
    expect(await sendTo(server)).toEqual(outcome);
    expect(server.connections).toBe(1); // whatever tries again is the outbox, at its own pace
    expect(server.complaints).toEqual([]);
    // It is taken where the server says so, and where nobody hears any more that it was.
    const saysNo = behaviour.kind === "say" && !behaviour.reply.startsWith("2");
    const taken = behaviour.kind !== "accept" && behaviour.at === "answer" && !saysNo;
    expect(server.emails).toHaveLength(taken ? 1 : 0);
  });

  it.each<SmtpStage>(["banner", "hello", "sender", "recipient", "data", "answer"])(
    "silence at the %s, of which it waits out no more than it must",
    async (at) => {
      const server = await open({ behaviour: { kind: "hang", at } });
      const outcome = await gateway(server.port, {}, 150).send(ada, aLetter(), "item-1", writtenAt);
      const doubt = at === "answer" ? { mayHaveArrived: true } : {};
      const words = expect.stringMatching(/./);
      expect(outcome).toEqual({ kind: "tryLater", notBefore: null, text: words, noAnswer: true, ...doubt });
    },
  );

  it.each<SmtpStage>(["banner", "hello", "answer"])("a reply that trickles on for ever at the %s", async (at) => {
    const server = await open({ behaviour: { kind: "trickle", at } });
    const outcome = await gateway(server.port, {}, 150).send(ada, aLetter(), "item-1", writtenAt);
    expect(outcome).toMatchObject({ kind: "tryLater" });
  });

  it("keeps no more than a short line of what it says", async () => {
    const server = await open({ behaviour: say("sender", `550 ${"no ".repeat(1_000)}`) });
    const outcome = await sendTo(server);
    expect(outcome.kind === "refused" && outcome.text.length).toBeLessThanOrEqual(200);
  });

  it("tries later where nobody listens, or the name is not found", async () => {
    const server = await open();
    await server.close();
    servers = [];
    expect(await gateway(server.port, {}, 2_000, false).send(ada, aLetter(), "i", writtenAt)).toMatchObject({
      kind: "tryLater",
      text: expect.stringContaining("ECONNREFUSED"),
    });
    const lost = gateway(25, { host: "no.such.host.invalid" }, 2_000, false);
    expect(await lost.send(ada, aLetter(), "i", writtenAt)).toMatchObject({ kind: "tryLater" });
  });

  it("ends with a server that takes the connection and never shakes hands", async () => {
    const mute = createServer((socket) => socket.on("error", () => {}).resume());
    await new Promise<void>((resolve) => mute.listen(0, "127.0.0.1", resolve));
    const { port } = mute.address() as AddressInfo;
    const post = gateway(port, { tls: "fromStart" }, 150, false);
    expect(await post.send(ada, aLetter(), "i", writtenAt)).toMatchObject({ kind: "tryLater" });
    await new Promise((resolve) => mute.close(resolve));
  });
});

describe("mail and TLS", () => {
  it("speaks TLS from the start where it is told to", async () => {
    const server = await open({ tls: "fromStart" });
    const post = gateway(server.port, { tls: "fromStart" });
    expect(await post.send(ada, aLetter(), "i", writtenAt)).toEqual({ kind: "accepted" });
    expect(server.emails[0]?.secure).toBe(true);
  });

  it("hands nothing to a server that offers no TLS where it must", async () => {
    const server = await open({ tls: "none" });
    expect(await sendTo(server)).toMatchObject({ kind: "tryLater" });
    expect(server.emails).toEqual([]);
  });

  it("trusts no certificate that it wasn't told to trust, nor one for another name", async () => {
    const server = await open();
    expect(await gateway(server.port, {}, 2_000, false).send(ada, aLetter(), "i", writtenAt)).toMatchObject({
      kind: "tryLater",
    });
    const elsewhere = gateway(server.port, { host: "127.0.0.2" });
    expect((await elsewhere.send(ada, aLetter(), "i", writtenAt)).kind).toBe("tryLater");
    expect(server.emails).toEqual([]);
  });

  it("takes TLS as it is offered on the way to this machine, and does without where it isn't", async () => {
    const offers = await open({ tls: "offered" });
    const plain = await open({ tls: "none" });
    for (const { port } of [offers, plain]) {
      const post = gateway(port, { tls: "ifOffered" }, 2_000, false);
      expect(await post.send(ada, aLetter(), "i", writtenAt)).toEqual({ kind: "accepted" });
    }
    expect([offers, plain].map(({ emails }) => emails[0]?.secure)).toEqual([true, false]);
  });
});

describe("mail and its login", () => {
  it("logs in, and never before the line is secure", async () => {
    const server = await open({ login });
    const post = gateway(server.port, { login });
    expect(await post.send(ada, aLetter(), "i", writtenAt)).toEqual({ kind: "accepted" });
    expect(server.emails[0]?.user).toBe(login.user);
    expect(server.complaints).toEqual([]);
  });

  it("is refused with a wrong password, or without one", async () => {
    const server = await open({ login });
    const wrong = gateway(server.port, { login: { ...login, password: "magpie" } });
    expect(await wrong.send(ada, aLetter(), "i", writtenAt)).toEqual({
      kind: "refused",
      text: "535 5.7.8 wrong user or password",
    });
    expect(await sendTo(server)).toEqual({ kind: "refused", text: "530 5.7.0 log in first" });
  });

  it("tries later where the server can't ask just now who we are (454)", async () => {
    const server = await open({ login, behaviour: { kind: "say", at: "login", reply: "454 4.7.0 later" } });
    const post = gateway(server.port, { login });
    expect(await post.send(ada, aLetter(), "i", writtenAt)).toMatchObject({
      kind: "tryLater",
      text: "454 4.7.0 later",
    });
  });

  it("never shows the password, not even where the server repeats it", async () => {
    const token = Buffer.from(`\0${login.user}\0${login.password}`).toString("base64");
    const reply = `535 AUTH PLAIN ${token} (${login.password}) is wrong`;
    const server = await open({ login, behaviour: { kind: "say", at: "login", reply } });
    const outcome = await gateway(server.port, { login }).send(ada, aLetter(), "i", writtenAt);
    expect(outcome).toEqual({ kind: "refused", text: "535 AUTH PLAIN … (…) is wrong" });
  });
});

describe("mail lets nobody write headers of their own", () => {
  const evil = "x\r\nBcc: cilla@example.org\r\nX-Evil: 1\r\n\r\n<script>";

  it("by the words of a notice", async () => {
    const server = await open();
    const letter = notificationEmail(notificationFixture({ title: evil, body: evil, topic: evil }), {
      yardName: evil,
      feederName: evil,
      link: "https://pieward.example/",
    });
    expect(await sendTo(server, letter)).toEqual({ kind: "accepted" });
    // And where the letter itself were made without care:
    expect(await sendTo(server, { ...letter, subject: evil, topic: evil }, evil)).toEqual({ kind: "accepted" });
    for (const { headers, to, subject } of server.emails) {
      expect([...headers.keys()].filter((name) => name === "bcc" || name === "x-evil")).toEqual([]);
      expect(to).toEqual([ada]);
      expect(subject).toBe("x Bcc: cilla@example.org X-Evil: 1 <script>");
    }
    expect(server.emails).toHaveLength(2);
    expect(server.complaints).toEqual([]);
  });

  it("by an address, which is refused before anything leaves the house", async () => {
    const server = await open();
    for (const to of [
      evil,
      `ada@example.org\r\nDATA`,
      "ada@example.org, bo@example.org",
      "Ada <ada@example.org>",
      "",
    ]) {
      expect(await sendTo(server, aLetter(), "i", to)).toEqual({ kind: "refused", text: "that is no mail address" });
    }
    expect(server.connections).toBe(0);
  });

  it("whatever the words: one subject, one recipient, the same words at the other end", async () => {
    const server = await open();
    const post = gateway(server.port);
    await fc.assert(
      fc.asyncProperty(fc.string({ unit: "grapheme", maxLength: 60 }), async (words) => {
        const letter = aLetter({ title: `T ${words}`, body: `B ${words}` });
        const outcome: MailOutcome = await post.send(ada, letter, words, writtenAt);
        expect(outcome).toEqual({ kind: "accepted" });
        const taken = server.emails.at(-1);
        expect(taken?.subject).toBe(letter.subject);
        expect(taken?.bodies[0]?.text).toBe(letter.text);
        expect(taken?.bodies[1]?.text).toBe(letter.html);
      }),
      { numRuns: 40 },
    );
    expect(server.complaints).toEqual([]);
  });
});
