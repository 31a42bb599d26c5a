import { expect, it } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import { depositStillPath } from "../../server/flows/depositStill.ts";
import { stillIdOf } from "../../server/flows/stillsOfEvents.ts";
import type { PushItem } from "../../server/ports.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { requestAs } from "../support/people.ts";
import { phoneFixture } from "../support/phoneFixture.ts";
import { jpegPicture } from "../support/pictures.ts";
import { openTestServer } from "../support/testServer.ts";

/** A feeder whose deposit isn't paid, as the next report has proven. */
async function openYard() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  const headers = { authorization: `Bearer ${key}`, "content-type": "image/jpeg" };
  const send = async (seq: number, boot = "b-1") =>
    requestAs(server, "POST", `/api/v1/stills?boot=${boot}&seq=${seq}`, headers, await jpegPicture());
  const deposit = (seq: number, uptimeMs: number) => ({ seq, uptimeMs, kind: "deposit", metal: true, earns: true });
  const unpaid = async () => {
    await server.report(key, { boot: "b-1", sentUptimeMs: 3_000, events: [deposit(7, 1_000)] });
    server.clock.advance(minutes(2));
    await server.report(key, { boot: "b-1", sentUptimeMs: 123_000, events: [] });
  };
  const pathFor = (content: Partial<NotificationContent> = {}) => {
    const about = notificationFixture({ fault: "depositUnpaid", priority: "urgent", ...content });
    const item: PushItem = {
      ...{ id: "item-1", channel: "push", person: "p1", yard: server.yard, feeder: feeder.id, attempts: 0 },
      ...{ content: about, writtenAt: server.clock.now(), phone: phoneFixture() },
    };
    return depositStillPath(server.ports, item);
  };
  const id = stillIdOf(server.yard, feeder.id, { boot: "b-1", seq: 7 });
  return { server, send, unpaid, pathFor, path: `/api/v1/yards/${server.yard}/stills/${id}/picture?size=small` };
}

it("an urgent push about an unpaid deposit has the path of its still, also of one that came before its report", async () => {
  const { server, send, unpaid, pathFor, path } = await openYard();
  await send(7);
  await unpaid();
  expect(await pathFor()).toBe(path);
  expect((await requestAs(server, "GET", path, server.keeper)).headers["content-type"]).toBe("image/jpeg");
  expect((await requestAs(server, "GET", path, {})).statusCode).toBe(401); // to nobody without a session
});

it("a push has no picture before the still is there, nor that of another event, nor where it is about something else", async () => {
  const { send, unpaid, pathFor, path } = await openYard();
  expect(await pathFor()).toBeNull(); // nothing is unpaid
  await unpaid();
  await send(8);
  await send(7, "b-0");
  expect(await pathFor()).toBeNull();
  await send(7);
  expect(await pathFor()).toBe(path);
  const others = [{ fault: "trayJammed" }, { priority: "soon" }, { isClosing: true }] as const;
  for (const other of others) expect(await pathFor(other)).toBeNull();
});
