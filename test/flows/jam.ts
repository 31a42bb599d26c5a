import { minutes } from "../../server/domain/instant.ts";
import { addPhone, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A server whose feeder Rowan has a tray that jams: an urgent alarm that stands as long as a test needs it. */

/** Portions a minute for an hour, told at once: good ones, then a tray that moves nothing. */
export const jammed = {
  boot: "b-1",
  sentUptimeMs: 36_000_000,
  readings: { hopperGrams: 800, paused: false },
  events: Array.from({ length: 36 }, (_, index) => ({
    seq: index + 1,
    uptimeMs: 36_000_000 - (36 - index) * 60_000,
    kind: "portion",
    cause: "timer",
    motorMs: 900,
    meanMilliamps: index < 12 ? 240 : 290,
    peakMilliamps: 500,
    chuteCount: index < 12 ? 3 : 0,
  })),
};
export const sensors = { button: true, detector: true, chute: true, perch: false, scale: true };
export const jamReport = { boot: "b-1", readings: {} };

/** It goes on reporting each minute, so that a jam is all that is wrong. */
export function repeatJam(server: TestServer, key: string) {
  const start = server.clock.now();
  const meanwhile = async () => {
    const { status } = await server.report(key, {
      ...jamReport,
      sentUptimeMs: 36_000_000 + server.clock.now() - start,
    });
    // A refused report makes the feeder silent, which adds notices of its own.
    if (status !== 200) throw new Error(`expected the report to be taken, got ${status}`);
  };
  return { step: minutes(1), meanwhile };
}

export const sentNotifications = (server: TestServer) =>
  server.push.sent.map(({ phone, title }) => `${phone.label}: ${title}`);
export const order = (server: TestServer, headers: Record<string, string>, url: string, payload: object) =>
  requestAs(server, "POST", url, headers, payload);

/** Ada has the first turn and Bo the next, each with a phone; the jam has been told to whom it is told at once. */
export async function notifyFirstOfJam(): Promise<TestServer> {
  const server = await openTestServer();
  const bo = await joinByInvite(server, "Bo", "helper");
  await addPhone(server, server.keeper, "Ada");
  await addPhone(server, bo, "Bo");
  const { key } = await server.addFeeder({ sensors });
  await server.report(key, jammed);
  await deliverAll(server);
  return server;
}
