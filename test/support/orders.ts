import { once } from "node:events";
import WebSocket from "ws";
import type { FeederView } from "../../server/contract/api.ts";
import { requestAs } from "./people.ts";
import type { TestServer } from "./testServer.ts";

export const requestOrder = async (server: TestServer, feeder: string, order: object) => {
  const answer = await server.app.inject({
    method: "POST",
    url: `/api/v1/feeders/${feeder}/orders`,
    headers: server.keeper,
    payload: order,
  });
  return { status: answer.statusCode, body: answer.json() as FeederView & { errors?: { field: string }[] } };
};

export const sendReport = (sentUptimeMs: number, paused: boolean, events: object[] = [], boot = "b-1") => ({
  boot,
  sentUptimeMs,
  readings: { paused },
  events,
});
export const carriedOut = (seq: number, uptimeMs: number, order: string) => ({
  seq,
  uptimeMs,
  kind: "order",
  order,
  outcome: "done",
});
export const pause = { id: "pause-0001", kind: "pause" };
export const getFeederAs = async (
  server: TestServer,
  feeder: string,
  headers: Record<string, string>,
): Promise<FeederView> => (await requestAs(server, "GET", `/api/v1/feeders/${feeder}`, headers)).json();
export const orderStatus = (view: FeederView) => view.pause.order?.status;

export async function listenAddress(server: TestServer): Promise<string> {
  return new URL(await server.app.listen({ port: 0, host: "127.0.0.1" })).host;
}

/** A feeder's socket, with its messages in the order in which they came. */
export async function openLink(host: string, key: string) {
  const socket = new WebSocket(`ws://${host}/api/v1/link`, { headers: { authorization: `Bearer ${key}` } });
  const messages: unknown[] = [];
  let arrived: () => void = () => undefined;
  socket.on("message", (data) => {
    messages.push(JSON.parse(data.toString()));
    arrived();
  });
  await once(socket, "open");
  const next = async (): Promise<never> => {
    while (messages.length === 0)
      await new Promise<void>((resolve) => {
        arrived = resolve;
      });
    return messages.shift() as never;
  };
  return {
    socket,
    next,
    say: (body: object | string) => socket.send(typeof body === "string" ? body : JSON.stringify(body)),
  };
}
