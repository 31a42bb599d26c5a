import { once } from "node:events";
import { describe, expect, it, onTestFinished } from "vitest";
import { WebSocket } from "ws";
import type { LiveMessage } from "../../server/contract/api.ts";
import type { LinkFrame, linkFrameSchemas } from "../../server/contract/linkFrames.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { addPhone, requestAs } from "../support/people.ts";
import { openRightsFixture, type RightsFixture } from "./rights/world.ts";

/** Who may open which socket, and who gets which frames. A new kind of frame doesn't compile until it has a row here. */

type Headers = Readonly<Record<string, string>>;

async function listeningFixture(): Promise<RightsFixture & { readonly address: string }> {
  const world = await openRightsFixture();
  const address = await world.server.app.listen({ port: 0, host: "127.0.0.1" });
  return { ...world, address: address.replace("http", "ws") };
}

/** @returns the status with which a socket is refused, or the open socket and all that comes over it. */
async function openSocket(url: string, headers: Headers) {
  const socket = new WebSocket(url, { headers });
  onTestFinished(() => socket.terminate());
  const came: string[] = [];
  socket.on("message", (data) => came.push(String(data)));
  socket.on("error", () => undefined); // a refusal, which the status shows
  const refused = once(socket, "unexpected-response").then(
    ([, response]) => (response as { statusCode: number }).statusCode,
  );
  const status = await Promise.race([once(socket, "open").then(() => 101), refused]);
  return { status, socket, came };
}

describe("a socket", () => {
  it("opens for those its route is for, and for nobody else", async () => {
    const { callers, address } = await listeningFixture();
    for (const { name, headers, is } of callers) {
      const feeders = await openSocket(`${address}/api/v1/link`, headers);
      expect([name, feeders.status]).toEqual([name, is === "feeder" ? 101 : 401]);
      const browsers = await openSocket(`${address}/api/v1/live`, headers);
      const may = is !== "nobody" && is !== "feeder" && is !== "exportKey"; // the Origin header shows another site's page
      expect([name, browsers.status]).toEqual([name, may ? 101 : 401]);
      const fromElsewhere = await openSocket(`${address}/api/v1/live`, {
        ...headers,
        origin: "https://elsewhere.example",
      });
      expect([name, fromElsewhere.status]).toEqual([name, may ? 403 : 401]);
    }
  });
});

type ReceivedFrames = { readonly ours: readonly string[]; readonly theirs: readonly string[] };

/** What brings each kind of frame to our feeder: the other yard's feeder gets none of it. */
const linkFrames: Readonly<
  Record<keyof typeof linkFrameSchemas, (world: RightsFixture, ours: WebSocket) => Promise<unknown>>
> = {
  answer: async (_, ours) => ours.send('{"boot":"boot-of-now","sentUptimeMs":60000}'),
  problem: async (_, ours) => ours.send("no report"),
  plan: async ({ server, ours }) => {
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
    await requestAs(server, "PATCH", `/api/v1/feeders/${ours.feeder}`, server.keeper, { feeding: feedingExample });
  },
  orders: ({ server, ours }) =>
    requestAs(server, "POST", `/api/v1/feeders/${ours.feeder}/orders`, server.keeper, {
      id: "resume-00001",
      kind: "resume",
    }),
};

/** What brings each kind of message to the browsers of our yard. */
const liveMessages: Readonly<Record<LiveMessage["kind"], (world: RightsFixture, ours: WebSocket) => Promise<unknown>>> =
  {
    changed: ({ server, ours }) => requestAs(server, "POST", `/api/v1/feeders/${ours.feeder}/cleaned`, server.keeper),
    phones: ({ server }) => addPhone(server, server.keeper, "garden"),
    pong: async (_, ours) => ours.send('{"kind":"ping"}'),
  };

const kindOf = (text: string): string => {
  const frame = JSON.parse(text) as LinkFrame | LiveMessage;
  return "kind" in frame ? frame.kind : (Object.keys(frame)[0] ?? "");
};

async function play(
  world: RightsFixture,
  [ours, theirs]: readonly [Awaited<ReturnType<typeof openSocket>>, Awaited<ReturnType<typeof openSocket>>],
  cause: (world: RightsFixture, ours: WebSocket) => Promise<unknown>,
  kind: string,
): Promise<ReceivedFrames> {
  ours.came.length = 0;
  theirs.came.length = 0;
  await cause(world, ours.socket);
  await expect.poll(() => ours.came.map(kindOf)).toContain(kind);
  // Whatever was sent to the other socket before its pong has come with it (RFC 6455, 5.5.2 and 5.4).
  const pong = once(theirs.socket, "pong");
  theirs.socket.ping();
  await pong;
  return { ours: ours.came, theirs: theirs.came };
}

describe("a frame", () => {
  it.each(Object.entries(linkFrames))("of kind %s is sent to its feeder alone", async (kind, cause) => {
    const world = await listeningFixture();
    const link = (key: string) => openSocket(`${world.address}/api/v1/link`, { authorization: `Bearer ${key}` });
    const pair = [await link(world.ourKey), await link(world.theirKey)] as const;
    for (const { came } of pair) await expect.poll(() => came.map(kindOf)).toEqual(["orders"]); // the pauses of world.ts
    expect(pair[0].came.join()).toContain(world.ours.order);
    expect(pair[1].came.join()).not.toContain(world.ours.order);
    expect((await play(world, pair, cause, kind)).theirs).toEqual([]);
  });

  it.each(Object.entries(liveMessages))("of kind %s is sent to browsers of that yard alone", async (kind, cause) => {
    const world = await listeningFixture();
    const outsider = world.callers.find(({ is }) => is === "keeperElsewhere");
    const pair = [
      await openSocket(`${world.address}/api/v1/live`, world.server.keeper),
      await openSocket(`${world.address}/api/v1/live`, outsider?.headers ?? {}),
    ] as const;
    expect((await play(world, pair, cause, kind)).theirs).toEqual([]);
  });

  it("of one feeder can neither report for another one nor answer its orders", async () => {
    const world = await listeningFixture();
    const outsider = await openSocket(`${world.address}/api/v1/link`, { authorization: `Bearer ${world.theirKey}` });
    const about = (row: string) => row.includes(world.ours.feeder ?? "") && !row.includes(world.theirs.feeder ?? "");
    const ofOurs = () => [...world.dump().values()].map((rows) => rows.split("\n").filter(about));
    await expect.poll(() => outsider.came).toHaveLength(1);
    const before = ofOurs();
    const report = { boot: world.ours.boot, sentUptimeMs: 60_000 };
    outsider.socket.send(JSON.stringify({ ...report, feeder: world.ours.feeder }));
    await expect.poll(() => outsider.came).toHaveLength(2);
    expect(JSON.parse(outsider.came[1] ?? "").problem.status).toBe(403);
    const event = {
      seq: 900,
      uptimeMs: 1_000,
      kind: "order",
      order: world.ours.order,
      outcome: "refused",
      problem: "no",
    };
    outsider.socket.send(JSON.stringify({ ...report, readings: { paused: false }, events: [event] }));
    await expect.poll(() => outsider.came).toHaveLength(3);
    expect(JSON.parse(outsider.came[2] ?? "").answer.storedThrough).toBe(900);
    expect(ofOurs()).toEqual(before);
    expect((await world.server.runPeriodicCheck(world.ours.feeder ?? "")).pause.order?.status).not.toBe("refused");
  });

  it("is sent to nobody whose key was changed or who was removed from the yard", async () => {
    const world = await listeningFixture();
    const { server, ours, callers, address } = world;
    const link = await openSocket(`${address}/api/v1/link`, { authorization: `Bearer ${world.ourKey}` });
    const helper = callers.find(({ is }) => typeof is === "object" && is.role === "helper");
    const live = await openSocket(`${address}/api/v1/live`, helper?.headers ?? {});
    const closed = [once(link.socket, "close"), once(live.socket, "close")];
    await requestAs(server, "POST", `/api/v1/feeders/${ours.feeder}/key`, server.keeper);
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${helper?.id}`, server.keeper);
    await Promise.all(closed);
    expect((await openSocket(`${address}/api/v1/link`, { authorization: `Bearer ${world.ourKey}` })).status).toBe(401);
    const again = await openSocket(`${address}/api/v1/live`, helper?.headers ?? {});
    live.came.length = 0;
    await requestAs(server, "POST", `/api/v1/feeders/${ours.feeder}/cleaned`, server.keeper);
    if (again.status === 101) {
      const pong = once(again.socket, "pong");
      again.socket.ping();
      await pong;
    }
    expect([live.came, again.came]).toEqual([[], []]);
  });
});
