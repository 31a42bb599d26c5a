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
  const house = await openTestServer();
  const keys = { p256dh: "p".repeat(87), auth: "a".repeat(22) };
  const phone = { endpoint: "https://push.example/1", keys };
  const headers = house.keeper;
  const url = "/api/v1/phones";
  expect((await house.app.inject({ method: "POST", url, headers, payload: phone })).statusCode).toBe(201);
  return { house, folder, notifier: notifierOf(house, folder) };
}
const notifierOf = (house: TestServer, folder: string) =>
  damageNotifier({ ...house.ports, recipientsFile: openDamageFile(folder) }, null, silent);
const sent = (house: TestServer) => house.push.sent.filter(({ topic }) => topic === "store-damage").length;
const damage = (house: TestServer) =>
  house.store.condition.recordDamage({ kind: "damaged", foundAt: house.clock.now(), problem });

describe("notifying of a damaged database", () => {
  it("says nothing while nothing is wrong, at once what is, and again each day as long as it lasts", async () => {
    const { house, notifier } = await housed();
    await notifier.updateRecipients();
    await notifier.notify();
    expect(sent(house)).toBe(0);
    damage(house);
    await notifier.notify();
    await notifier.notify();
    expect(sent(house)).toBe(1);
    house.clock.advance(hours(23));
    await notifier.notify();
    expect(sent(house)).toBe(1);
    house.clock.advance(hours(1));
    await notifier.notify();
    expect(sent(house)).toBe(2);
  });

  it("tries again with growing gaps where a push service doesn't take it", async () => {
    const { house, notifier } = await housed();
    await notifier.updateRecipients();
    damage(house);
    house.push.answer = { kind: "tryLater", notBefore: null, text: "busy" };
    for (let minute = 0; minute < 8; minute += 1) {
      await notifier.notify();
      house.clock.advance(minutes(1));
    }
    expect(sent(house)).toBe(4); // after 0, 1, 3 and 7 minutes
    house.push.answer = { kind: "accepted" };
    house.clock.advance(minutes(10));
    await notifier.notify();
    await notifier.notify();
    expect(sent(house)).toBe(5);
  });

  it("knows whom to notify after a restart, and doesn't repeat it with each start", async () => {
    const { house, folder, notifier } = await housed();
    await notifier.updateRecipients();
    damage(house);
    const unreadable = { ...house.store, damageRecipients: () => Promise.reject(new Error("damaged")) };
    const next = damageNotifier(
      { ...house.ports, store: unreadable, recipientsFile: openDamageFile(folder) },
      null,
      silent,
    );
    await next.updateRecipients();
    await next.notify();
    expect(sent(house)).toBe(1);
    await notifierOf(house, folder).notify();
    expect(sent(house)).toBe(1);
  });

  it("forgets a phone that was removed, and what was notified once all is well", async () => {
    const { house, folder, notifier } = await housed();
    await notifier.updateRecipients();
    const file = openDamageFile(folder);
    const kept = file.read();
    expect(kept?.phones.map(({ endpoint }) => endpoint)).toEqual(["https://push.example/1"]);
    file.write({ phones: [], addresses: [], ...kept, notifiedAt: { "https://push.example/1": house.clock.now() } });
    await house.app.inject({
      method: "POST",
      url: "/api/v1/phones/forget",
      headers: house.keeper,
      payload: { endpoint: "https://push.example/1" },
    });
    house.clock.advance(days(1));
    await notifier.updateRecipients();
    expect(file.read()).toEqual({ phones: [], addresses: [], notifiedAt: {} });
  });
});

describe("the check of the file", () => {
  it("notes what it finds, so that nothing is stored any more, and calls an unfinished check neither whole nor damaged", async () => {
    const { house } = await housed();
    const { key } = await house.addFeeder();
    expect(await checkStore(house.ports, async () => [], minutes(1))).toBe("whole");
    expect(await checkStore(house.ports, async () => null, minutes(1))).toBe("notFinished");
    const body = { boot: "b-1", sentUptimeMs: 1_000 };
    expect((await house.report(key, body)).status).toBe(200);
    expect(
      await checkStore(house.ports, async () => ["Tree 5 page 7: btreeInitPage() returns error code 11"], minutes(1)),
    ).toBe("damaged");
    expect((await house.report(key, { ...body, sentUptimeMs: 2_000 })).status).toBe(507);
    expect((await house.app.inject({ url: "/api/v1/health" })).statusCode).toBe(503);
  });
});
