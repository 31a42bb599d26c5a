import { minutes } from "../../server/domain/instant.ts";
import { addPhone, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A server whose feeder Rowan has a tray that jams: an urgent alarm that lasts as long as a test needs it. */

/** A portion a minute for an hour, reported together: good ones, then a tray that moves nothing. */
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
export const jamReport = { boot: "b-1", readings: { hopperGrams: 800 } };

/** It goes on reporting each minute, so that the jam is its only fault. */
export function repeatJam(server: TestServer, key: string) {
  const start = server.clock.now();
  const meanwhile = async () => {
    const { status } = await server.report(key, {
      ...jamReport,
      sentUptimeMs: 36_000_000 + server.clock.now() - start,
    });
    // A refused report makes the feeder silent, which adds notifications of its own.
    if (status !== 200) throw new Error(`expected the report to be taken, got ${status}`);
  };
  return { step: minutes(1), meanwhile };
}

export const sentNotifications = (server: TestServer) =>
  server.push.sent.map(({ phone, title }) => `${phone.label}: ${title}`);
export const order = (server: TestServer, headers: Record<string, string>, url: string, payload: object) =>
  requestAs(server, "POST", url, headers, payload);

/** Ada is first in the escalation order and Bo next, each with a phone; the first level has been notified of the jam. */
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
