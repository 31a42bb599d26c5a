import { once } from "node:events";
import { readFileSync } from "node:fs";
import type { AddressInfo } from "node:net";
import { join } from "node:path";
import { afterEach, describe, expect, it, onTestFinished, vi } from "vitest";
import WebSocket from "ws";
import { linkCloses, linkFrameSchemas } from "../../server/contract/linkFrames.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { pingEveryMilliseconds } from "../../server/routes/feederLink.ts";
import { documentedPage } from "../support/documentedPage.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { projectFolder } from "../support/imports.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** What the documentation's page states about the socket, tested on a socket. */

const portOf = (server: TestServer) => (server.app.server.address() as AddressInfo).port;

/** An open socket of a feeder. */
async function openSocket(server: TestServer, authorization: string, options: WebSocket.ClientOptions = {}) {
  const headers = { authorization };
  const socket = new WebSocket(`ws://127.0.0.1:${portOf(server)}/api/v1/link`, { headers, ...options });
  onTestFinished(() => socket.terminate());
  const frames: string[] = [];
  socket.on("message", (data) => frames.push(String(data)));
  const closed = once(socket, "close").then(([code, reason]) => ({ code, reason: String(reason) }));
  await once(socket, "open");
  const next = async () => {
    await expect.poll(() => frames.length).toBeGreaterThan(0);
    return JSON.parse(frames.shift() as string) as object;
  };
  return { socket, next, closed };
}

async function openPage(options: Parameters<typeof openTestServer>[0] = {}) {
  const server = await openTestServer(options);
  const { key, feeder } = await server.addFeeder();
  await server.app.listen({ port: 0, host: "127.0.0.1" });
  return { server, key, feeder: feeder.id, page: await documentedPage(server) };
}

const giveOrder = (server: TestServer, feeder: string, order: object) =>
  server.app.inject({
    method: "POST",
    url: `/api/v1/feeders/${feeder}/orders`,
    headers: server.keeper,
    payload: order,
  });

describe("each frame on the page", () => {
  it("is sent as the page shows: an answer, a problem, orders, a plan", async () => {
    const { server, key, feeder, page } = await openPage({ reportsPerMinute: 1 });
    const link = await openSocket(server, `Bearer ${key}`);
    const frame = (name: string) => JSON.parse(page.example(`frame-${name}-example`));

    link.socket.send(page.example("report-example"));
    expect(linkFrameSchemas.answer.strict().parse(await link.next())).toEqual(frame("answer"));
    link.socket.send(page.example("report-example"));
    expect(linkFrameSchemas.problem.strict().parse(await link.next())).toEqual(frame("problem"));
    await giveOrder(server, feeder, { id: frame("orders").orders[0].id, kind: "pause" });
    expect(linkFrameSchemas.orders.strict().parse(await link.next())).toEqual(frame("orders"));
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    await requestAs(server, "PATCH", `/api/v1/feeders/${feeder}`, server.keeper, { feeding: feedingExample });
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
    const { plan } = linkFrameSchemas.plan.strict().parse(await link.next());
    expect(Object.keys(plan ?? {})).toEqual(
      Object.keys(linkFrameSchemas.plan.strict().parse(frame("plan")).plan ?? {}),
    );
    expect(plan?.days).toHaveLength(14);
    expect(link.socket.readyState).toBe(WebSocket.OPEN);
  });

  it("is every kind of frame", async () => {
    const { page } = await openPage();
    const shown = [...page.html.matchAll(/id="frame-(\w+)-example"/g)].map(([, name]) => name);
    expect(shown.sort()).toEqual(Object.keys(linkFrameSchemas).sort());
  });

  it("of an order that waits comes once the socket is open", async () => {
    const { server, key, feeder } = await openPage();
    await giveOrder(server, feeder, { id: "order-7f3a91c2", kind: "pause" });
    const link = await openSocket(server, `Bearer ${key}`);
    expect(await link.next()).toEqual({ orders: [{ id: "order-7f3a91c2", kind: "pause", until: null }] });
  });

  it("answers reports in the order in which they came, beside reports over HTTP", async () => {
    const { server, key } = await openPage();
    const link = await openSocket(server, `Bearer ${key}`);
    const report = (seq: number) => ({
      boot: "b-1",
      sentUptimeMs: 9_000,
      events: [{ seq, uptimeMs: 5, kind: "press" }],
    });
    for (const seq of [1, 2]) link.socket.send(JSON.stringify(report(seq)));
    expect([await link.next(), await link.next()]).toMatchObject([
      { answer: { storedThrough: 1 } },
      { answer: { storedThrough: 2 } },
    ]);
    expect((await server.report(key, report(3))).body).toMatchObject({ storedThrough: 3 });
  });
});

describe("whoever opens it", () => {
  it("has the key, or a signature over an empty body", async () => {
    const { server, key, feeder } = await openPage();
    const time = String(server.clock.now() / 1_000);
    const mac = signatureOf(hashOf(key), time, "");
    const signed = `Signature feeder="${feeder}", time="${time}", mac="${mac}"`;
    const link = await openSocket(server, signed);
    link.socket.send(JSON.stringify({ boot: "b-1", sentUptimeMs: 5 }));
    expect(await link.next()).toMatchObject({ answer: { storedThrough: null } });
  });

  it("is refused before it opens", async () => {
    const { server } = await openPage();
    const headers = { authorization: "Bearer pw_wrong" };
    const socket = new WebSocket(`ws://127.0.0.1:${portOf(server)}/api/v1/link`, { headers });
    socket.on("error", () => undefined); // the aborted handshake
    const [, response] = await once(socket, "unexpected-response");
    expect([response.statusCode, response.headers["content-type"]]).toEqual([
      401,
      expect.stringContaining("problem+json"),
    ]);
    socket.terminate();
  });
});

/** How each close code on the page comes about. */
const endings: Readonly<
  Record<string, (server: TestServer, key: string, feeder: string, link: Opened) => Promise<unknown>>
> = {
  [linkCloses.replaced.code]: (server, key) => openSocket(server, `Bearer ${key}`),
  [linkCloses.keyChanged.code]: (server, _, feeder) =>
    Promise.resolve(
      server.app.inject({ method: "POST", url: `/api/v1/feeders/${feeder}/key`, headers: server.keeper }),
    ),
  [linkCloses.stopping.code]: async (server) => server.sockets.closeAll(),
  1007: async (_server, _key, _feeder, { socket }) => socket.send(Buffer.from([0xc3, 0x28]), { binary: false }),
  1009: async (_server, _key, _feeder, { socket }) => socket.send("x".repeat(1_048_577)),
};
type Opened = Awaited<ReturnType<typeof openSocket>>;

describe("each close code on the page", () => {
  it.each(Object.keys(endings))("%s is sent as the page states", async (code) => {
    const { server, key, feeder, page } = await openPage();
    const link = await openSocket(server, `Bearer ${key}`);
    await endings[code]?.(server, key, feeder, link);
    const ended = await link.closed;
    expect(String(ended.code)).toBe(code);
    const row = page.html.slice(page.html.indexOf(`data-close="${code}"`)).split("</tr>")[0] ?? "";
    expect(row).toContain(ended.reason);
  });

  it("is every code", async () => {
    const { page } = await openPage();
    const shown = [...page.html.matchAll(/data-close="(\d+)"/g)].map(([, code]) => code);
    expect(shown.sort()).toEqual([...Object.keys(endings), "1006"].sort()); // 1006: below, by a ping
    expect(Object.values(linkCloses).filter(({ code }) => !shown.includes(String(code)))).toEqual([]);
    const code = ["server/adapters/feederSockets.ts", "server/routes/feederLink.ts"]
      .map((path) => readFileSync(join(projectFolder, path), "utf8"))
      .join();
    expect(code.match(/close\(\d+/g)).toBeNull(); // every code has its name in linkCloses
  });
});

describe("the server's ping", () => {
  afterEach(() => {
    vi.useRealTimers();
  });

  it("comes as often as the page states, and a socket that doesn't answer is cut", async () => {
    const { server, key, page } = await openPage();
    expect(page.html).toContain(`a ping every ${pingEveryMilliseconds / 1_000} seconds`);
    vi.useFakeTimers({ toFake: ["setInterval", "clearInterval"] });
    const [answers, doesNot] = [
      await openSocket(server, `Bearer ${key}`),
      (await server.addFeeder({ name: "Larch" })).key,
    ];
    const mute = await openSocket(server, `Bearer ${doesNot}`, { autoPong: false });
    const pinged = Promise.all([once(answers.socket, "ping"), once(mute.socket, "ping")]);
    vi.advanceTimersByTime(pingEveryMilliseconds);
    await pinged;
    answers.socket.send(JSON.stringify({ boot: "b-1", sentUptimeMs: 5 }));
    const again = once(answers.socket, "ping");
    await new Promise((resolve) => answers.socket.once("message", resolve)); // its pong has arrived before this answer
    vi.advanceTimersByTime(pingEveryMilliseconds);
    expect((await mute.closed).code).toBe(1006);
    await again;
    expect(answers.socket.readyState).toBe(WebSocket.OPEN);
  });
});
