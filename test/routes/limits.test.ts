import { once } from "node:events";
import type { AddressInfo } from "node:net";
import { connect } from "node:net";
import { describe, expect, it, onTestFinished, vi } from "vitest";
import WebSocket from "ws";
import { minutes, seconds } from "../../server/domain/instant.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A sender of too much is refused, and nobody else is affected. */

/** The hashes that a passphrase was checked against. */
const verified: string[] = [];
vi.mock("@node-rs/argon2", async (original) => {
  const argon2 = await original<typeof import("@node-rs/argon2")>();
  return {
    ...argon2,
    verify: (hash: string, passphrase: string) => {
      verified.push(hash);
      return argon2.verify(hash, passphrase);
    },
  };
});

const json = "application/json";
const body = (sentUptimeMs = 1_000) => JSON.stringify({ boot: "b-7f3a91c2", sentUptimeMs });

const post = (server: TestServer, authorization: string, payload = body(), more: object = {}) =>
  server.app.inject({
    method: "POST",
    url: "/api/v1/report",
    headers: { authorization, "content-type": json },
    payload,
    ...more,
  });

function signature(server: TestServer, feeder: string, key: string, payload = body()): string {
  const time = String(Math.floor(server.clock.now() / 1_000));
  return `Signature feeder="${feeder}", time="${time}", mac="${signatureOf(hashOf(key), time, payload)}"`;
}

const often = async (count: number, once: (index: number) => Promise<{ statusCode: number }>): Promise<number[]> => {
  const statuses: number[] = [];
  for (let index = 0; index < count; index += 1) statuses.push((await once(index)).statusCode);
  return statuses;
};
const kinds = (statuses: readonly number[]) => [...new Set(statuses)];

describe("forged reports", () => {
  it("that name a feeder, however many, use up nothing of its limit: signed or by key", async () => {
    const server = await openTestServer({ reportsPerMinute: 120 });
    const { key, feeder } = await server.addFeeder();
    const forged = await often(125, () => post(server, signature(server, feeder.id, "pw_forged")));
    expect(kinds(forged)).toEqual([401, 429]);
    expect((await post(server, signature(server, feeder.id, key))).statusCode).toBe(200);
    expect((await post(server, `Bearer ${key}`, body(2_000))).statusCode).toBe(200);
  });

  it("are counted by address, whichever way the header is spelt", async () => {
    const server = await openTestServer();
    const spelt = ["Bearer ", "bearer  ", "BEARER\t", "bEaReR \t "];
    const statuses = await often(61, (index) => post(server, `${spelt[index % 4]}pw_guess_${index}`));
    expect(statuses).toEqual([...Array(60).fill(401), 429]);
    const refused = await post(server, "Bearer pw_guess");
    expect(Number(refused.headers["retry-after"])).toBeGreaterThan(0);
    server.clock.advance(minutes(1));
    expect((await post(server, "Bearer pw_guess")).statusCode).toBe(401);
  });

  it("from a whole /64 of IPv6 are one sender's, and from many addresses meet a limit for all", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const from = (remoteAddress: string) => post(server, "Bearer pw_guess", body(), { remoteAddress });
    const near = await often(61, (index) => from(`2001:db8:1:2:${index.toString(16)}::7`));
    expect(near).toEqual([...Array(60).fill(401), 429]);
    expect((await from("2001:db8:1:3::7")).statusCode).toBe(401);
    // The mapped form of one IPv4 address is the same address.
    const mapped = await often(61, (index) => from(index % 2 ? "::ffff:192.0.2.9" : "192.0.2.9"));
    expect(mapped.at(-1)).toBe(429);

    const wandering = await often(600, (index) => from(`198.51.${index >> 8}.${index & 255}`));
    expect(wandering.at(-1)).toBe(429);
    // A right key is accepted meanwhile, from an unknown address and from one that guesses.
    for (const remoteAddress of ["203.0.113.5", "192.0.2.9"]) {
      server.clock.advance(1 as never);
      expect((await post(server, `Bearer ${key}`, body(1_000), { remoteAddress })).statusCode).toBe(200);
    }
  });

  it("of a great size are refused before they are read, once an address sent too many; small right ones are checked", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await often(60, () => post(server, signature(server, feeder.id, "pw_forged")));
    const large = JSON.stringify({ boot: "b-7f3a91c2", sentUptimeMs: 1_000, padding: "x".repeat(70_000) });
    const refused = await post(server, signature(server, feeder.id, "pw_forged", large), large);
    expect([refused.statusCode, refused.headers["www-authenticate"]]).toEqual([429, undefined]);
    expect((await post(server, signature(server, feeder.id, key))).statusCode).toBe(200);
    // From here on its sender is known there, and its large reports are read too.
    expect((await post(server, signature(server, feeder.id, key, large), large)).statusCode).toBe(200);
  });

  it("behind a made-up X-Forwarded-For are still one sender's; behind a trusted proxy its last entry counts", async () => {
    const spoofedHeaders = (index: number) => ({ "x-forwarded-for": `198.51.100.${index}`, "content-type": json });
    const server = await openTestServer();
    const plain = await often(61, (index) =>
      post(server, "", body(), { headers: { ...spoofedHeaders(index), authorization: "Bearer pw_guess" } }),
    );
    expect(plain.at(-1)).toBe(429);

    const proxied = await openTestServer({ trustProxy: true });
    const behind = (forwarded: string) =>
      post(proxied, "", body(), {
        headers: { "x-forwarded-for": forwarded, "content-type": json, authorization: "Bearer pw_guess" },
      });
    const appended = await often(61, (index) => behind(`198.51.100.${index}, 203.0.113.7`));
    expect(appended.at(-1)).toBe(429);
    expect((await behind("203.0.113.8")).statusCode).toBe(401);
  });
});

describe("a feeder's own limit", () => {
  it("holds over HTTP and its sockets together, however often it connects again or spells its header differently", async () => {
    const server = await openTestServer({ reportsPerMinute: 4 });
    const { key } = await server.addFeeder();
    const host = await socketAddress(server);
    expect((await post(server, `Bearer ${key}`)).statusCode).toBe(200);
    expect((await post(server, `bearer \t${key}`, body(2_000))).statusCode).toBe(200);
    for (const status of [200, 200, 429]) {
      const socket = new WebSocket(`${host}/api/v1/link`, { headers: { authorization: `BEARER ${key}` } });
      await once(socket, "open");
      socket.send(body(3_000));
      const frame = JSON.parse(String((await once(socket, "message"))[0])) as { problem?: { status: number } };
      expect(frame.problem?.status ?? 200).toBe(status);
      socket.terminate();
    }
    expect((await post(server, `BEARER  ${key}`, body(4_000))).statusCode).toBe(429);
  });
});

describe("a feeder's socket", () => {
  it("stays open whatever a forger tries, and a recorded signature opens no second one", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const host = await socketAddress(server);
    const authorization = signature(server, feeder.id, key, "");
    const socket = new WebSocket(`${host}/api/v1/link`, { headers: { authorization } });
    await once(socket, "open");
    for (const wrong of [authorization, signature(server, feeder.id, "pw_forged", ""), "Bearer pw_forged", ""]) {
      const forger = new WebSocket(`${host}/api/v1/link`, { headers: { authorization: wrong } });
      const [error] = await once(forger, "error");
      expect(String(error)).toContain("401");
    }
    socket.send(body());
    const frame = JSON.parse(String((await once(socket, "message"))[0]));
    expect(frame.answer.storedThrough).toBe(null);
    socket.terminate();
  });
});

describe("signing in", () => {
  const right = { name: "Keeper", passphrase: "birds before breakfast" };
  const tryAs = (server: TestServer, body: object, remoteAddress = "192.0.2.1", url = "/api/v1/session") =>
    server.app.inject({ method: "POST", url, payload: body, remoteAddress });

  it("is limited for each name over all addresses and spellings, but not where its person signed in before", async () => {
    const server = await openTestServer();
    expect((await tryAs(server, right, "203.0.113.5")).statusCode).toBe(200);
    const guess = (index: number) =>
      tryAs(
        server,
        { name: index % 2 ? "Keeper" : "keeper ", passphrase: `a wrong guess ${index}` },
        `198.51.100.${index}`,
      );
    const statuses = await often(21, guess);
    expect(statuses.at(0)).not.toBe(429);
    expect(statuses.at(-1)).toBe(429);
    expect((await tryAs(server, right, "198.51.100.99")).statusCode).toBe(429);
    expect((await tryAs(server, right, "203.0.113.5")).statusCode).toBe(200);
    server.clock.advance(minutes(1));
    expect((await tryAs(server, right, "198.51.100.99")).statusCode).toBe(200);
  });

  it("has the same limit for a name that nobody has", async () => {
    const server = await openTestServer();
    const statuses = await often(21, (index) =>
      tryAs(server, { name: "Nobody", passphrase: "a wrong guess" }, `198.51.100.${index}`),
    );
    expect(statuses).toEqual([...Array(20).fill(401), 429]);
  });

  it("answers an unknown name and a wrong passphrase the same, and does the same work for both", async () => {
    const server = await openTestServer();
    const answered = new Set<string>();
    for (const name of ["Keeper", "Nobody"]) {
      verified.length = 0;
      const answer = await tryAs(server, { name, passphrase: "a wrong guess" }, "192.0.2.1");
      // The parameters of the hash decide how long its check takes.
      const work = verified.map((hash) => hash.split("$").slice(0, 4).join("$"));
      answered.add(`${answer.statusCode} ${answer.body} after ${JSON.stringify(work)}`);
    }
    expect(answered.size).toBe(1);
    expect([...answered][0]).toContain('after ["$argon2id$v=19$m=19456,t=2,p=1"]');
  });

  it("can't be tried by an unused invite: a right passphrase is answered as a wrong one", async () => {
    const server = await openTestServer();
    await joinByInvite(server, "Bo", "helper");
    const invite = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, {
      role: "helper",
    });
    const { token } = invite.json();
    const guesses = ["Bo has birds at breakfast", "Bo has cats at breakfast"];
    const answers = [];
    for (const passphrase of guesses) {
      const { statusCode, body } = await tryAs(server, { token, name: "Bo", passphrase }, "192.0.2.1", "/api/v1/join");
      answers.push(`${statusCode} ${body}`);
    }
    expect(answers[0]).toBe(answers[1]);
    expect(answers[0]).toContain("400");
  });
});

describe("an overloaded server", () => {
  it("answers 503 with a reason and a time to wait: pages first, reports later, health never", async () => {
    const server = await openTestServer({ logs: true });
    const { key } = await server.addFeeder();
    server.setEventLoopDelay(1_001);
    await server.app.inject({ url: "/api/v1/home", headers: server.keeper }); // one long piece of work is no overload
    server.clock.advance(seconds(2));
    const page = await server.app.inject({ url: "/api/v1/home", headers: server.keeper });
    expect(page.statusCode).toBe(503);
    expect(page.headers["retry-after"]).toBe("10");
    expect(page.json().detail).toBe("More requests come than the server can take; nothing was stored. Try again.");
    expect((await post(server, `Bearer ${key}`)).statusCode).toBe(200);
    server.setEventLoopDelay(3_001);
    expect((await post(server, `Bearer ${key}`, body(2_000))).statusCode).toBe(200);
    server.clock.advance(seconds(2));
    expect((await post(server, `Bearer ${key}`, body(3_000))).statusCode).toBe(503);
    expect((await server.app.inject({ url: "/api/v1/health" })).statusCode).toBe(200);
  });

  it("logs one line a minute, with how much was refused", async () => {
    const server = await openTestServer({ logs: true });
    const lines = () => server.log.filter((line) => line.includes("overloaded"));
    server.setEventLoopDelay(1_001);
    await server.app.inject({ url: "/api/v1/home", headers: server.keeper });
    server.clock.advance(seconds(2));
    for (let index = 0; index < 30; index += 1)
      await server.app.inject({ url: "/api/v1/home", headers: server.keeper });
    expect(lines()).toHaveLength(1);
    server.clock.advance(minutes(1));
    await server.app.inject({ url: "/api/v1/home", headers: server.keeper });
    expect(lines()).toHaveLength(2);
    expect(JSON.parse(lines()[1] as string).refused).toEqual({ request: 30 });
  });

  it("reads a small report although the end of large ones is held back, and answers those senders", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const larch = await server.addFeeder({ name: "Larch" });
    const { port } = new URL(await socketAddress(server));
    const bare = JSON.stringify({ boot: "b-7f3a91c2", sentUptimeMs: 1_000, padding: "" });
    const large = bare.replace('""', `"${"x".repeat(1_048_576 - bare.length)}"`);
    const held = Array.from({ length: 4 }, () => connect(Number(port), "127.0.0.1"));
    const answers: string[] = [];
    for (const socket of held) {
      socket.on("data", (text) => void answers.push(String(text)));
      socket.on("error", () => undefined);
      onTestFinished(() => void socket.destroy());
      const head = `POST /api/v1/report HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer ${larch.key}\r\nContent-Type: ${json}\r\nContent-Length: ${large.length}\r\n\r\n`;
      socket.write(`${head}{"boot":`);
    }
    const url = `http://127.0.0.1:${port}/api/v1/report`;
    const send = (text: string) =>
      fetch(url, { method: "POST", headers: { authorization: `Bearer ${key}`, "content-type": json }, body: text });
    await expect.poll(async () => (await send(large)).status).toBe(503);
    expect((await send(body())).status).toBe(200);
    await expect.poll(() => answers.length).toBe(1);
    expect(answers[0]).toMatch(/^HTTP\/1\.1 503 [\s\S]*Retry-After: 10/);
    expect((await send(large)).status).toBe(200); // the place of the one that was ended
  });
});

async function socketAddress(server: TestServer): Promise<string> {
  if (server.app.server.address() === null) await server.app.listen({ port: 0, host: "127.0.0.1" });
  return `ws://127.0.0.1:${(server.app.server.address() as AddressInfo).port}`;
}
