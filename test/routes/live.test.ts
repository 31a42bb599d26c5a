import { once } from "node:events";
import { describe, expect, it, onTestFinished } from "vitest";
import { WebSocket } from "ws";
import { days } from "../../server/domain/instant.ts";
import { checkLiveSockets } from "../../server/flows/liveSockets.ts";
import { addPhone, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A browser with an open live socket. */
async function openLiveBrowser(address: string, headers: Record<string, string>) {
  const socket = new WebSocket(`${address.replace("http", "ws")}/api/v1/live`, { headers: { cookie: headers.cookie } });
  onTestFinished(() => socket.terminate());
  const feeders: string[] = [];
  const messages: string[] = [];
  socket.on("message", (data) => {
    messages.push(String(data));
    const { feeder } = JSON.parse(String(data));
    if (feeder !== undefined) feeders.push(feeder);
  });
  await once(socket, "open");
  return { socket, feeders, messages };
}

describe("a browser with a live socket", () => {
  it("gets messages of its own yards alone, and must reconnect when those change", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const boId = (await requestAs(server, "GET", "/api/v1/me", bo)).json().id;
    const other = { ...(await server.store.yards.yards())[0], id: "birch", name: "Birch" };
    await server.store.yards.addYard(other as never, boId, server.clock.now());
    const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
    const [adas, bos] = [await openLiveBrowser(address, server.keeper), await openLiveBrowser(address, bo)];

    server.ports.liveFeed.announceChange("birch", "larch", 1);
    server.ports.liveFeed.announceChange(server.yard, "rowan", 1);
    await expect.poll(() => bos.feeders).toEqual(["larch", "rowan"]);
    await expect.poll(() => adas.feeders).toEqual(["rowan"]);

    const closed = once(bos.socket, "close");
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${boId}`, server.keeper);
    expect((await closed)[0]).toBe(1012);
    const again = await openLiveBrowser(address, bo);
    server.ports.liveFeed.announceChange(server.yard, "rowan", 2);
    server.ports.liveFeed.announceChange("birch", "larch", 2);
    await expect.poll(() => again.feeders).toEqual(["larch"]);
    expect(adas.socket.readyState).toBe(adas.socket.OPEN);
  });

  it("gets a message when phones of its own person are added or removed, and of nobody else's", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
    const [adas, bos] = [await openLiveBrowser(address, server.keeper), await openLiveBrowser(address, bo)];
    await addPhone(server, server.keeper, "kitchen");
    await expect.poll(() => adas.messages).toEqual(['{"kind":"phones"}']);
    const endpoint = "https://push.example/kitchen";
    await requestAs(server, "POST", "/api/v1/phones/forget", server.keeper, { endpoint });
    await expect.poll(() => adas.messages).toEqual(['{"kind":"phones"}', '{"kind":"phones"}']);
    await addPhone(server, bo, "bench");
    await expect.poll(() => bos.messages).toEqual(['{"kind":"phones"}']);
    expect(adas.messages).toHaveLength(2);
  });

  it("gets a message when a push service has declared one of its phones gone", async () => {
    const server = await openTestServer();
    const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
    await addPhone(server, server.keeper, "kitchen");
    const { messages } = await openLiveBrowser(address, server.keeper);
    server.push.answer = { kind: "subscriptionGone", text: "410" };
    await requestAs(server, "POST", "/api/v1/phones/test", server.keeper);
    await expect.poll(() => messages).toContain('{"kind":"phones"}');
  });

  it("is answered when it sends a ping, and anything else is ignored", async () => {
    const server = await openTestServer();
    const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
    const { socket, messages } = await openLiveBrowser(address, server.keeper);
    socket.send("what else");
    socket.send('{"kind":"ping"}');
    await expect.poll(() => messages).toEqual(['{"kind":"pong"}']);
    expect(socket.readyState).toBe(socket.OPEN);
  });

  it("must reconnect when practice begins: there was no practice yard when it connected", async () => {
    const server = await openTestServer();
    const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
    const { socket } = await openLiveBrowser(address, server.keeper);
    const closed = once(socket, "close");
    await requestAs(server, "POST", "/api/v1/practice", server.keeper);
    expect((await closed)[0]).toBe(1012);
    await requestAs(server, "DELETE", "/api/v1/practice", server.keeper);
  });
});

describe("the live sockets of a session", () => {
  const signedInAgain = async (server: TestServer) => {
    const payload = { name: "Keeper", passphrase: "birds before breakfast" };
    const answer = await server.app.inject({ method: "POST", url: "/api/v1/session", payload });
    return { cookie: String(answer.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
  };
  const openHere = async () => {
    const server = await openTestServer();
    return { server, address: await server.app.listen({ port: 0, host: "127.0.0.1" }) };
  };
  const signOut = (server: TestServer, headers: Record<string, string>) =>
    requestAs(server, "DELETE", "/api/v1/session", headers);

  it("close at once at sign-out, and those of another session stay open", async () => {
    const { server, address } = await openHere();
    const phone = await openLiveBrowser(address, server.keeper);
    const tablet = await openLiveBrowser(address, await signedInAgain(server));
    const closed = once(phone.socket, "close");
    await signOut(server, server.keeper);
    expect((await closed)[0]).toBe(1008);
    server.ports.liveFeed.announceChange(server.yard, "rowan", 1);
    await expect.poll(() => tablet.feeders).toEqual(["rowan"]);
    expect(phone.feeders).toEqual([]);
  });

  it("close all at once where a person's sessions all end", async () => {
    const { server, address } = await openHere();
    const bo = await openLiveBrowser(address, await joinByInvite(server, "Bo", "helper"));
    const all = [
      await openLiveBrowser(address, server.keeper),
      await openLiveBrowser(address, await signedInAgain(server)),
    ];
    const closed = all.map(({ socket }) => once(socket, "close"));
    const person = (await requestAs(server, "GET", "/api/v1/me", server.keeper)).json().id;
    server.ports.liveFeed.closeSocketsOf({ person });
    for (const each of closed) expect((await each)[0]).toBe(1008);
    expect(bo.socket.readyState).toBe(bo.socket.OPEN);
  });

  it("get nothing more once they were closed, though the browser delays its part of the closing", async () => {
    const { server, address } = await openHere();
    const { socket, feeders } = await openLiveBrowser(address, server.keeper);
    const closed = once(socket, "close");
    await signOut(server, server.keeper);
    server.ports.liveFeed.announceChange(server.yard, "rowan", 1);
    await closed;
    expect(feeders).toEqual([]);
    expect(server.ports.liveFeed.openSessions().size).toBe(0);
  });

  it("close where the session expired, or was ended by another process on the same database", async () => {
    const { server, address } = await openHere();
    const [ended, other] = [
      await openLiveBrowser(address, server.keeper),
      await openLiveBrowser(address, await signedInAgain(server)),
    ];
    server.connections.direct.exec(`DELETE FROM "Session" WHERE rowid = 1`);
    const closed = once(ended.socket, "close");
    await checkLiveSockets(server.ports);
    expect((await closed)[0]).toBe(1008);
    expect(other.socket.readyState).toBe(other.socket.OPEN);
    server.clock.advance(days(181));
    const expired = once(other.socket, "close");
    await checkLiveSockets(server.ports);
    expect((await expired)[0]).toBe(1008);
  });

  it("close where the session ends while its socket opens", async () => {
    const { server, address } = await openHere();
    const { people } = server.store;
    const membershipsOf = people.membershipsOf.bind(people);
    let reads = 0;
    Object.assign(people, {
      membershipsOf: async (person: string) => {
        const found = await membershipsOf(person);
        reads += 1;
        if (reads === 1) await signOut(server, server.keeper); // after the check of the session, before the socket is there
        return found;
      },
    });
    const { socket } = await openLiveBrowser(address, server.keeper);
    await expect.poll(() => socket.readyState).toBe(socket.CLOSED);
    expect(reads).toBeGreaterThan(0);
  });

  it("are at most 20; one more is refused with a reason, also when they open all at once, and another session has its own limit", async () => {
    const { server, address } = await openHere();
    const url = `${address.replace("http", "ws")}/api/v1/live`;
    const results = await Promise.all(
      Array.from({ length: 40 }, async () => {
        const socket = new WebSocket(url, { headers: { cookie: server.keeper.cookie } });
        onTestFinished(() => socket.terminate());
        return new Promise<number>((resolve) => {
          socket.on("unexpected-response", (_request, response) => resolve(response.statusCode ?? 0));
          socket.on("error", () => undefined);
          socket.on("close", (code) => resolve(code));
          socket.on("message", () => resolve(0)); // it is really open, since it is answered
          socket.on("open", () => socket.send('{"kind":"ping"}'));
        });
      }),
    );
    expect(results.filter((result) => result === 0)).toHaveLength(20);
    expect(results.filter((result) => result === 429 || result === 1013)).toHaveLength(20);

    const late = await server.app.inject({ url: "/api/v1/live", headers: upgrade(server.keeper) });
    expect(late.statusCode).toBe(429);
    expect(late.json().detail).toContain("close one of them");
    await openLiveBrowser(address, await signedInAgain(server));
  });

  it("are closed where nobody answers a ping, and where a browser reads too slowly", async () => {
    const { server, address } = await openHere();
    const url = `${address.replace("http", "ws")}/api/v1/live`;
    const dead = new WebSocket(url, { headers: { cookie: server.keeper.cookie }, autoPong: false });
    onTestFinished(() => dead.terminate());
    await once(dead, "open");
    const alive = await openLiveBrowser(address, server.keeper);
    const pinged = [once(dead, "ping"), once(alive.socket, "ping")];
    const closed = once(dead, "close");
    server.ports.liveFeed.pingAll();
    await Promise.all(pinged);
    // The answer to the ping needs time; a request after it is answered after it.
    alive.socket.send('{"kind":"ping"}');
    await expect.poll(() => alive.messages).toContain('{"kind":"pong"}');
    server.ports.liveFeed.pingAll();
    expect((await closed)[0]).toBe(1006);
    expect(alive.socket.readyState).toBe(alive.socket.OPEN);

    alive.socket.pause();
    const cut = once(alive.socket, "close");
    for (let sent = 0; sent < 400 && server.ports.liveFeed.openSessions().size > 0; sent++) {
      server.ports.liveFeed.announceChange(server.yard, "x".repeat(100_000), sent);
      await new Promise(setImmediate);
    }
    expect(server.ports.liveFeed.openSessions().size).toBe(0);
    alive.socket.resume();
    await cut;
  });
});

const upgrade = ({ cookie = "" }: Record<string, string>) => ({
  cookie,
  connection: "upgrade",
  upgrade: "websocket",
  "sec-websocket-version": "13",
  "sec-websocket-key": "dGhlIHNhbXBsZSBub25jZQ==",
});
