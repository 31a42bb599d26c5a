import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { openDamageFile } from "../../server/adapters/damageFile.ts";
import { days, hours, minutes } from "../../server/domain/instant.ts";
import { checkStore, damageNotifier } from "../../server/flows/damage.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const silent = { error: () => undefined, warn: () => undefined };
const problem = "as planted";

async function housed() {
  const folder = mkdtempSync(join(tmpdir(), "pieward-damage-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const server = await openTestServer();
  const keys = { p256dh: "p".repeat(87), auth: "a".repeat(22) };
  const phone = { endpoint: "https://push.example/1", keys };
  const headers = server.keeper;
  const url = "/api/v1/phones";
  expect((await server.app.inject({ method: "POST", url, headers, payload: phone })).statusCode).toBe(201);
  return { server, folder, notifier: notifierOf(server, folder) };
}
const notifierOf = (server: TestServer, folder: string) =>
  damageNotifier({ ...server.ports, recipientsFile: openDamageFile(folder) }, null, silent);
const sent = (server: TestServer) => server.push.sent.filter(({ topic }) => topic === "store-damage").length;
const damage = (server: TestServer) =>
  server.store.condition.recordDamage({ kind: "damaged", foundAt: server.clock.now(), problem });

describe("notifying of a damaged database", () => {
  it("sends nothing without damage, at once with it, and again each day while it lasts", async () => {
    const { server, notifier } = await housed();
    await notifier.updateRecipients();
    await notifier.notify();
    expect(sent(server)).toBe(0);
    damage(server);
    await notifier.notify();
    await notifier.notify();
    expect(sent(server)).toBe(1);
    server.clock.advance(hours(23));
    await notifier.notify();
    expect(sent(server)).toBe(1);
    server.clock.advance(hours(1));
    await notifier.notify();
    expect(sent(server)).toBe(2);
  });

  it("tries again with growing gaps where a push service doesn't accept it", async () => {
    const { server, notifier } = await housed();
    await notifier.updateRecipients();
    damage(server);
    server.push.answer = { kind: "tryLater", notBefore: null, text: "busy" };
    for (let minute = 0; minute < 8; minute += 1) {
      await notifier.notify();
      server.clock.advance(minutes(1));
    }
    expect(sent(server)).toBe(4); // after 0, 1, 3 and 7 minutes
    server.push.answer = { kind: "accepted" };
    server.clock.advance(minutes(10));
    await notifier.notify();
    await notifier.notify();
    expect(sent(server)).toBe(5);
  });

  it("knows whom to notify after a restart, and doesn't repeat it with each start", async () => {
    const { server, folder, notifier } = await housed();
    await notifier.updateRecipients();
    damage(server);
    const unreadable = { ...server.store, damageRecipients: () => Promise.reject(new Error("damaged")) };
    const next = damageNotifier(
      { ...server.ports, store: unreadable, recipientsFile: openDamageFile(folder) },
      null,
      silent,
    );
    await next.updateRecipients();
    await next.notify();
    expect(sent(server)).toBe(1);
    await notifierOf(server, folder).notify();
    expect(sent(server)).toBe(1);
  });

  it("drops a phone that was removed, and the times of notifications once the damage is over", async () => {
    const { server, folder, notifier } = await housed();
    await notifier.updateRecipients();
    const file = openDamageFile(folder);
    const stored = file.read();
    expect(stored?.phones.map(({ endpoint }) => endpoint)).toEqual(["https://push.example/1"]);
    file.write({ phones: [], addresses: [], ...stored, notifiedAt: { "https://push.example/1": server.clock.now() } });
    await server.app.inject({
      method: "POST",
      url: "/api/v1/phones/forget",
      headers: server.keeper,
      payload: { endpoint: "https://push.example/1" },
    });
    server.clock.advance(days(1));
    await notifier.updateRecipients();
    expect(file.read()).toEqual({ phones: [], addresses: [], notifiedAt: {} });
  });
});

describe("the check of the file", () => {
  it("records damage, so that nothing is stored any more, and reports an unfinished check as neither whole nor damaged", async () => {
    const { server } = await housed();
    const { key } = await server.addFeeder();
    expect(await checkStore(server.ports, async () => [], minutes(1))).toBe("whole");
    expect(await checkStore(server.ports, async () => null, minutes(1))).toBe("notFinished");
    const body = { boot: "b-1", sentUptimeMs: 1_000 };
    expect((await server.report(key, body)).status).toBe(200);
    expect(
      await checkStore(server.ports, async () => ["Tree 5 page 7: btreeInitPage() returns error code 11"], minutes(1)),
    ).toBe("damaged");
    expect((await server.report(key, { ...body, sentUptimeMs: 2_000 })).status).toBe(507);
    expect((await server.app.inject({ url: "/api/v1/health" })).statusCode).toBe(503);
  });
});
