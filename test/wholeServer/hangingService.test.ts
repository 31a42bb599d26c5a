import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { describe, expect, it, onTestFinished } from "vitest";
import { type RunningServer, runBuiltServer } from "../support/builtServer.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { type PushService, startPushService } from "../support/pushService.ts";
import { startSmtpServer } from "../support/smtpServer.ts";

/**
 * One push service accepts connections and never answers, one answers after a second, one is good, and the mail server hangs
 * too. The built server must deliver an urgent alarm to the good one as if there were no other.
 */

const json = { "content-type": "application/json", "x-pieward": "1" };

async function at(server: RunningServer): Promise<(path: string, body: object, headers?: object) => Promise<Response>> {
  const home = (await server.waitForOutput(/Pieward listens at (http\S+)\n/))[1] as string;
  return (path, body, headers = {}) =>
    fetch(`${home}${path}`, { method: "POST", headers: { ...json, ...headers }, body: JSON.stringify(body) });
}

/** Twelve portions of the last 48 minutes: good ones in the first report, then a tray that moves nothing. */
const portions = (from: number) => ({
  boot: "b-1",
  sentUptimeMs: 36_000_000 + from,
  readings: { hopperGrams: 800, paused: false },
  events: Array.from({ length: 12 }, (_, index) => ({
    seq: from + index,
    uptimeMs: 36_000_000 - (48 - from - index) * 60_000,
    kind: "portion",
    cause: "timer",
    motorMs: 900,
    meanMilliamps: from === 1 ? 240 : 290,
    peakMilliamps: 500,
    chuteCount: from === 1 ? 3 : 0,
  })),
});

/** What waits for one person at one push service: `topics` notifications for each of their phones. */
interface Waiting {
  readonly person: string;
  readonly service: PushService;
  readonly phones: number;
  readonly topics: number;
}

/** Writes people, their phones and what waits for them, as the server itself does, while no server runs. */
function fill(file: string, waiting: readonly Waiting[], emailCount: number): void {
  const database = new Database(file);
  const now = new Date().toISOString().replace("Z", "+00:00");
  const person = database.prepare(
    `INSERT INTO "Keeper" ("id", "name", "nameKey", "passphraseHash", "email", "createdAt") VALUES (@id, @name, @name, '-', 'x@alder.example', @now)`,
  );
  const addPhone = database.prepare(
    `INSERT INTO "Phone" ("id", "keeperId", "endpoint", "p256dh", "auth", "label", "addedAt") VALUES (?, ?, ?, ?, ?, ?, ?)`,
  );
  const addItem = database.prepare(
    `INSERT INTO "OutboxItem" ("id", "channel", "keeperId", "phoneId", "topic", "content", "writtenAt", "dueAt")
     VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
  );
  database.transaction(() => {
    let items = 0;
    for (const { person: id, service, phones, topics } of waiting) {
      person.run({ id, name: id, now });
      for (let number = 0; number < phones; number++) {
        const phone = service.subscribe();
        addPhone.run(phone.id, id, phone.endpoint, phone.p256dh, phone.auth, phone.label, now);
        for (let topic = 0; topic < topics; topic++) {
          const content = JSON.stringify(notificationFixture({ topic: `t${topic}`, priority: "urgent" }));
          addItem.run(`item-${items++}`, "push", id, phone.id, `t${topic}`, content, now, now);
        }
      }
    }
    for (let topic = 0; topic < emailCount; topic++) {
      const content = JSON.stringify(notificationFixture({ topic: `l${topic}` }));
      addItem.run(`item-${items++}`, "email", waiting[0]?.person, null, `l${topic}`, content, now, now);
    }
  })();
  database.close();
}

describe("a push service that hangs", { timeout: 60_000 }, () => {
  it("delays neither the urgent alarm of another person at a good one, nor what waits for a slow one", async () => {
    const folder = mkdtempSync(join(tmpdir(), "pieward-hanging-"));
    onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
    const [hanging, slow, good] = [
      await startPushService({ behaviour: { kind: "hang" } }),
      await startPushService({ behaviour: { kind: "slow", milliseconds: 1_000 } }),
      await startPushService(),
    ];
    const smtp = await startSmtpServer({ behaviour: { kind: "hang", at: "banner" }, tls: "none" });
    for (const service of [hanging, slow, good, smtp]) onTestFinished(() => service.close());
    writeFileSync(join(folder, "ca.pem"), good.ca);
    const variables = {
      ALLOW_PRIVATE_PUSH_ENDPOINTS: "true",
      NODE_EXTRA_CA_CERTS: join(folder, "ca.pem"),
      SMTP_URL: `smtp://127.0.0.1:${smtp.port}`,
      SMTP_PLAIN: "true",
      MAIL_FROM: "pieward@alder.example",
    };
    const dataDir = join(folder, "data");

    const first = runBuiltServer(dataDir, variables);
    const token = (await first.waitForOutput(/first-sign-in#(\S+)\n/))[1];
    const ask = await at(first);
    const claimed = await ask("/api/v1/first-sign-in", { token, name: "Ada", passphrase: "birds before breakfast" });
    const cookie = String(claimed.headers.get("set-cookie")).split(";")[0] as string;
    const phone = good.subscribe({ label: "Pocket" });
    const keys = { p256dh: phone.p256dh, auth: phone.auth };
    expect((await ask("/api/v1/phones", { endpoint: phone.endpoint, keys }, { cookie })).status).toBe(201);
    const file = join(dataDir, "pieward.db");
    const yard = new Database(file, { readonly: true }).prepare(`SELECT "id" FROM "Yard"`).pluck().get();
    const sensors = { button: true, detector: true, chute: true, perch: false, scale: true };
    const added = await ask("/api/v1/feeders", { yard, name: "Rowan", sensors }, { cookie });
    const { key } = (await added.json()) as { key: string };
    const report = { authorization: `Bearer ${key}` };
    expect((await ask("/api/v1/report", portions(1), report)).status).toBe(200);
    first.kill("SIGTERM");
    await first.exited;

    const household = Array.from({ length: 30 }, (_, n) => ({
      person: `bo-${n}`,
      service: hanging,
      phones: 10,
      topics: 1,
    }));
    fill(file, [...household, { person: "cilla", service: slow, phones: 5, topics: 2 }], 20);
    const begun = Date.now();
    const second = runBuiltServer(dataDir, variables);
    const askAgain = await at(second);
    await expect.poll(() => Math.min(hanging.requests, smtp.connections), { timeout: 20_000 }).toBeGreaterThan(0);

    const startedAt = Date.now();
    expect(good.requests).toBe(0);
    const arrives = good.nextMessage(phone);
    expect((await askAgain("/api/v1/report", portions(13), report)).status).toBe(200);
    expect((await arrives).payload.notification.title).toBe("Rowan: tray jammed");
    const urgentMs = Date.now() - startedAt;
    await expect.poll(() => slow.acceptedCount.length, { timeout: 40_000, interval: 20 }).toBe(10);
    const slowMs = Date.now() - begun;
    process.stdout.write(
      `300 notifications wait at a hanging push service, 20 e-mails at a hanging mail server: the urgent alarm took ${urgentMs} ms, ` +
        `all 10 at a service that takes 1 s each were there ${slowMs} ms after the start; the hanging one got ${hanging.requests}\n`,
    );
    expect(urgentMs).toBeLessThan(3_000);
    expect(slowMs).toBeLessThan(15_000);
    expect(hanging.requests).toBeLessThan(30);
    expect([...good.complaints, ...slow.complaints]).toEqual([]);
  });
});
