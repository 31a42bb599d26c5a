import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { type RunningServer, runBuiltServer } from "../support/builtServer.ts";
import { startPushService } from "../support/pushService.ts";

/**
 * The main guarantee: what was confirmed to a feeder is stored, and keepers are notified of alarms, even if the server is killed in
 * between. A real process is killed, and a real push service decrypts what arrives.
 */

interface Visit {
  readonly home: string;
  post(path: string, body: object, headers?: Record<string, string>): Promise<Response>;
}

async function visit(server: RunningServer, cookie = ""): Promise<Visit> {
  const home = (await server.waitForOutput(/Pieward listens at (http\S+)\n/))[1] as string;
  return {
    home,
    post: (path, body, headers = {}) =>
      fetch(`${home}${path}`, {
        method: "POST",
        headers: { "content-type": "application/json", "x-pieward": "1", cookie, ...headers },
        body: JSON.stringify(body),
      }),
  };
}

/** A portion a minute for the last 48 minutes, sent in four reports: twelve good ones, then a tray that moves nothing. */
const jam = (from: number) => ({
  boot: "b-1",
  sentUptimeMs: 36_000_000 + from,
  readings: { hopperGrams: 800, paused: false },
  events: Array.from({ length: 12 }, (_, index) => ({
    seq: from + index,
    uptimeMs: 36_000_000 - (48 - from - index) * 60_000,
    kind: "portion",
    cause: "timer",
    motorMs: 900,
    meanMilliamps: from === 1 ? 240 : 290, // wedged food increases the motor's current
    peakMilliamps: 500,
    chuteCount: from === 1 ? 3 : 0,
  })),
});

describe("a server that is killed", { timeout: 60_000 }, () => {
  // About half a minute: the claim of the killed process must run out first.
  it("between storing an alarm and pushing it, pushes it after the restart; and has every event it confirmed", async () => {
    const folder = mkdtempSync(join(tmpdir(), "pieward-crash-"));
    onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
    const push = await startPushService({ behaviour: { kind: "hang" } });
    onTestFinished(() => push.close());
    writeFileSync(join(folder, "ca.pem"), push.ca);
    const variables = { ALLOW_PRIVATE_PUSH_ENDPOINTS: "true", NODE_EXTRA_CA_CERTS: join(folder, "ca.pem") };
    const dataDir = join(folder, "data");

    const first = runBuiltServer(dataDir, variables);
    const claim = (await first.waitForOutput(/first-sign-in#(\S+)\n/))[1];
    const visitor = await visit(first);
    const firstSignIn = await visitor.post("/api/v1/first-sign-in", {
      token: claim,
      name: "Keeper",
      passphrase: "birds at breakfast",
    });
    const cookie = String(firstSignIn.headers.get("set-cookie")).split(";")[0] as string;
    const keeper = await visit(first, cookie);
    const { yards } = (await (await fetch(`${keeper.home}/api/v1/home`, { headers: { cookie } })).json()) as {
      yards: { id: string }[];
    };
    // This test may run at any hour, also when a digest is due.
    await fetch(`${keeper.home}/api/v1/yards/${yards[0]?.id}`, {
      method: "PATCH",
      headers: { "content-type": "application/json", "x-pieward": "1", cookie },
      body: JSON.stringify({ digestWanted: false }),
    });
    const sensors = { button: true, detector: true, chute: true, perch: false, scale: true };
    const added = await keeper.post("/api/v1/feeders", { yard: yards[0]?.id, name: "Rowan", sensors });
    const { key, feeder } = (await added.json()) as { key: string; feeder: { id: string } };
    const phone = push.subscribe({ label: "Pocket" });
    const keys = { p256dh: phone.p256dh, auth: phone.auth };
    expect((await keeper.post("/api/v1/phones", { endpoint: phone.endpoint, keys })).status).toBe(201);

    const report = { authorization: `Bearer ${key}` };
    const reached = push.nextRequest();
    let through = 0;
    for (let from = 1; from <= 36; from += 12) {
      const answer = await keeper.post("/api/v1/report", jam(from), report);
      expect(answer.status).toBe(200);
      through = ((await answer.json()) as { storedThrough: number }).storedThrough;
    }
    await reached; // the alarm is stored and on its way; its push service will never answer
    first.kill("SIGKILL");
    await first.exited;
    expect(push.messagesFor(phone)).toEqual([]);

    push.setBehaviour({ kind: "accept" });
    const arrives = push.nextMessage(phone);
    const second = runBuiltServer(dataDir, variables);
    const { payload, urgency, ttlSeconds, topic } = await arrives;
    expect(payload.notification.title).toBe("Rowan: tray jammed");
    expect(urgency).toBe("high");
    expect(ttlSeconds).toBeGreaterThan(0);
    expect(topic).toMatch(/^[A-Za-z0-9_-]{1,32}$/);
    expect(push.complaints).toEqual([]);

    const again = await visit(second, cookie);
    const last = await again.post("/api/v1/report", jam(25), report);
    expect(await last.json()).toMatchObject({ storedThrough: through, duplicates: 12 });
    const view = await fetch(`${again.home}/api/v1/feeders/${feeder.id}`, { headers: { cookie } });
    expect(((await view.json()) as { alarms: { fault: string }[] }).alarms.map(({ fault }) => fault)).toContain(
      "trayJammed",
    );
  });
});
