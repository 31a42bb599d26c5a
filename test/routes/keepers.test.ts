import { describe, expect, it } from "vitest";
import type { FeederView, HomeView, PhonesView } from "../../server/contract/api.ts";
import { days, hours, isoOf } from "../../server/domain/instant.ts";
import { openFirstSignIn } from "../../server/flows/signIn.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const post = (server: TestServer, url: string, payload: object, headers: Record<string, string> = {}) =>
  server.app.inject({ method: "POST", url, payload, headers });
const signedIn = async (server: TestServer, headers: Record<string, string>) =>
  (await server.app.inject({ url: "/api/v1/session", headers })).statusCode === 200;
const cookieOf = (answer: { headers: Record<string, unknown> }) =>
  String(answer.headers["set-cookie"]).split(";")[0] as string;

describe("the first sign-in link", () => {
  it("works once, and isn't given out again", async () => {
    const server = await openTestServer(); // its first account exists already
    expect(await openFirstSignIn(server.ports)).toBeNull();
    const again = { token: "any", name: "Second", passphrase: "a long enough one" };
    expect((await post(server, "/api/v1/first-sign-in", again)).statusCode).toBe(401);
  });

  it("refuses a weak passphrase by its field", async () => {
    const server = await openTestServer();
    const answer = await post(server, "/api/v1/first-sign-in", { token: "any", name: "Keeper", passphrase: "short" });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors).toEqual([{ field: "passphrase", problem: "must be at least 15 characters" }]);
  });
});

describe("signing in", () => {
  const right = { name: "Keeper", passphrase: "birds before breakfast" };

  it("opens a session with the right passphrase, and doesn't reveal which half was wrong", async () => {
    const server = await openTestServer();
    const answer = await post(server, "/api/v1/session", right);
    expect(answer.statusCode).toBe(200);
    expect(String(answer.headers["set-cookie"])).toMatch(/HttpOnly.*SameSite=Lax/);
    expect(await signedIn(server, { cookie: cookieOf(answer) })).toBe(true);

    const wrong = await post(server, "/api/v1/session", { ...right, passphrase: "cats before breakfast" });
    const unknown = await post(server, "/api/v1/session", { ...right, name: "Nobody" });
    expect([wrong.statusCode, unknown.statusCode]).toEqual([401, 401]);
    expect(wrong.json()).toEqual(unknown.json());
  });

  it("allows few tries a minute", async () => {
    const server = await openTestServer();
    const statuses = [];
    for (let count = 0; count < 11; count += 1) {
      statuses.push((await post(server, "/api/v1/session", { ...right, passphrase: "guess number n" })).statusCode);
    }
    expect(statuses).toEqual([...Array(10).fill(401), 429]);
  });

  it("ends with signing out, with a forged cookie, and after thirty days without use", async () => {
    const server = await openTestServer();
    const cookie = cookieOf(await post(server, "/api/v1/session", right));
    await server.app.inject({ method: "DELETE", url: "/api/v1/session", headers: { cookie } });
    expect(await signedIn(server, { cookie })).toBe(false);
    expect(await signedIn(server, { cookie: `${server.keeper.cookie}x` })).toBe(false);

    server.clock.advance(days(29));
    expect(await signedIn(server, server.keeper)).toBe(true); // it was used, so it stays valid
    server.clock.advance(days(29));
    expect(await signedIn(server, server.keeper)).toBe(true);
    server.clock.advance(days(30));
    expect(await signedIn(server, server.keeper)).toBe(false);
  });
});

describe("the keeper's routes", () => {
  const routes: ["GET" | "POST" | "PATCH" | "DELETE", string][] = [
    ["GET", "/api/v1/home"],
    ["POST", "/api/v1/feeders"],
    ["GET", "/api/v1/feeders/x"],
    ["PATCH", "/api/v1/feeders/x"],
    ["DELETE", "/api/v1/feeders/x"],
    ["POST", "/api/v1/feeders/x/key"],
    ["GET", "/api/v1/feeders/x/day"],
    ["POST", "/api/v1/feeders/x/refills"],
    ["POST", "/api/v1/feeders/x/orders"],
    ["POST", "/api/v1/feeders/x/alarms/foodLow/acknowledge"],
    ["POST", "/api/v1/feeders/x/alarms/foodLow/shelve"],
    ["POST", "/api/v1/feeders/x/alarms/foodLow/reset"],
    ["POST", "/api/v1/feeders/x/alarms/foodLow/out-of-service"],
    ["POST", "/api/v1/feeders/x/alarms/foodLow/return-to-service"],
    ["PATCH", "/api/v1/yards/x"],
    ["GET", "/api/v1/yards/x/digest"],
    ["GET", "/api/v1/yards/x/people"],
    ["PATCH", "/api/v1/yards/x/people/y"],
    ["DELETE", "/api/v1/yards/x/people/y"],
    ["POST", "/api/v1/yards/x/invites"],
    ["GET", "/api/v1/yards/x/alarm-rates"],
    ["GET", "/api/v1/me"],
    ["PATCH", "/api/v1/me"],
    ["POST", "/api/v1/me/email/test"],
    ["GET", "/api/v1/phones"],
    ["POST", "/api/v1/phones"],
    ["POST", "/api/v1/phones/forget"],
    ["POST", "/api/v1/phones/test"],
    ["POST", "/api/v1/practice"],
    ["DELETE", "/api/v1/practice"],
    ["POST", "/api/v1/practice/fault"],
  ];
  it.each(routes)("%s %s is refused without a session", async (method, url) => {
    const server = await openTestServer();
    const answer = await server.app.inject({ method, url, headers: { "x-pieward": "1" } });
    expect(answer.statusCode).toBe(401);
    expect(answer.headers["content-type"]).toContain("application/problem+json");
  });

  it("let no other site's page change anything with this browser's cookie", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const cookie = server.keeper.cookie as string;
    const order = { id: "pause-0001", kind: "pause" };
    expect((await post(server, `/api/v1/feeders/${feeder.id}/orders`, order, { cookie })).statusCode).toBe(403);
    expect((await server.runPeriodicCheck(feeder.id)).pause.order).toBeNull();
  });
});

describe("a feeder", () => {
  it("is added with its key shown once, changed, and removed with its whole record", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ battery: "leadAcid", hopperCapacityGrams: 800 });
    expect(key).toMatch(/^pw_[A-Za-z0-9_-]{43}$/);
    expect(feeder.settings).toMatchObject({ name: "Rowan", battery: "leadAcid", hopperCapacityGrams: 800 });
    expect(feeder.summary).toBe("No report yet.");

    const url = `/api/v1/feeders/${feeder.id}`;
    const changed = await server.app.inject({
      method: "PATCH",
      url,
      headers: server.keeper,
      payload: { food: "suet" },
    });
    expect(changed.json().settings).toMatchObject({ food: "suet", battery: "leadAcid" });

    await server.report(key, { boot: "b-1", sentUptimeMs: 5, events: [{ seq: 1, uptimeMs: 5, kind: "press" }] });
    expect((await server.app.inject({ method: "DELETE", url, headers: server.keeper })).statusCode).toBe(204);
    expect((await server.app.inject({ url, headers: server.keeper })).statusCode).toBe(404);
    const now = server.clock.now();
    expect(await server.store.records.events(feeder.id, (now - days(1)) as never, (now + 1) as never, 9)).toEqual([]);
  });

  it("has the sensors that send readings, until its keeper enters which it has", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    expect(feeder.settings.sensors.scale).toBe(false);
    await server.report(key, { boot: "b-1", sentUptimeMs: 5, readings: { hopperGrams: 812 } });
    const noticed = await server.runPeriodicCheck(feeder.id);
    expect(noticed.settings.sensors.scale).toBe(true);
    expect(noticed.hopper.level?.grams).toBeCloseTo(812, 0);

    const url = `/api/v1/feeders/${feeder.id}`;
    const payload = { sensors: { ...noticed.settings.sensors, scale: false } };
    await server.app.inject({ method: "PATCH", url, headers: server.keeper, payload });
    await server.report(key, { boot: "b-1", sentUptimeMs: 65_000, readings: { hopperGrams: 790 } });
    expect((await server.runPeriodicCheck(feeder.id)).settings.sensors.scale).toBe(false);
  });

  it("refuses absurd settings by field, and keeps the old ones", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const url = `/api/v1/feeders/${feeder.id}`;
    const payload = { hopperCapacityGrams: -5, battery: "nuclear" };
    const answer = await server.app.inject({ method: "PATCH", url, headers: server.keeper, payload });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors.map(({ field }: { field: string }) => field)).toEqual([
      "hopperCapacityGrams",
      "battery",
    ]);
    expect((await server.runPeriodicCheck(feeder.id)).settings).toEqual(feeder.settings);
  });

  it("takes its food from a list, its portion by pieces or by weighing, and shows what its sensors can't distinguish", async () => {
    const server = await openTestServer();
    const home = (await server.app.inject({ url: "/api/v1/home", headers: server.keeper })).json() as HomeView;
    expect(home.foods).toContainEqual({ kind: "catKibble", name: "dry cat kibble", pieceGrams: 0.3 });
    const sensors = { button: true, detector: true, chute: true, perch: false, scale: false };
    const { feeder } = await server.addFeeder({ foodKind: "catKibble", grainsPerPortion: 4, sensors });
    expect(feeder.settings).toMatchObject({ food: "dry cat kibble", foodKind: "catKibble", portionGrams: 1.2 });
    expect(feeder.hopper.portionText).toBe("A portion is counted as 1.2 g (4 pieces).");
    expect(feeder.blindSpots).toContain("Without a scale, a blind chute sensor looks like a jam.");

    const url = `/api/v1/feeders/${feeder.id}`;
    const patch = (payload: object) => server.app.inject({ method: "PATCH", url, headers: server.keeper, payload });
    const weighed = (await patch({ tenPortionsGrams: 15 })).json() as FeederView;
    expect(weighed.settings).toMatchObject({ grainsPerPortion: 4, portionGrams: 1.5 });
    expect(weighed.settings).not.toHaveProperty("tenPortionsGrams");
    const refused = (await patch({ foodKind: "other", grainsPerPortion: 0 })).json().errors;
    expect(refused.map(({ field }: { field: string }) => field)).toContain("grainsPerPortion");
    expect((await patch({ foodKind: "other" })).json().errors).toEqual([
      { field: "food", problem: 'must be entered when the kind is "other"' },
    ]);
    expect((await server.runPeriodicCheck(feeder.id)).settings).toEqual(weighed.settings);
  });

  it("takes a refill once, however often the client repeats it", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const url = `/api/v1/feeders/${feeder.id}/refills`;
    await post(server, url, { id: "refill-01", what: { kind: "level", grams: 300 } }, server.keeper);
    const refill = { id: "refill-02", what: { kind: "added", grams: 200 } };
    const first = (await post(server, url, refill, server.keeper)).json() as FeederView;
    const again = (await post(server, url, refill, server.keeper)).json() as FeederView;
    expect(Math.abs((first.hopper.level?.grams ?? 0) - 500)).toBeLessThan(15); // words are evidence, and move it by nearly all of it
    expect(again.hopper.level).toEqual(first.hopper.level);
  });

  it("refuses a refill from the future and one of no grams, by field", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const url = `/api/v1/feeders/${feeder.id}/refills`;
    const at = isoOf((server.clock.now() + hours(1)) as never);
    const future = await post(server, url, { id: "refill-01", at, what: { kind: "filled" } }, server.keeper);
    const nothing = await post(server, url, { id: "refill-01", what: { kind: "added", grams: 0 } }, server.keeper);
    expect(future.json().errors[0].field).toBe("at");
    expect(nothing.json().errors[0].field).toBe("what.grams");
  });

  it("shows its day from dusk to dusk with what happened", async () => {
    const server = await openTestServer();
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    const yardUrl = `/api/v1/yards/${server.yard}`;
    await server.app.inject({ method: "PATCH", url: yardUrl, headers: server.keeper, payload: { place } });
    const { feeder, key } = await server.addFeeder();
    const events = [
      { seq: 1, uptimeMs: 1_000, kind: "visit" },
      { seq: 2, uptimeMs: 2_000, kind: "deposit", metal: true },
      { seq: 3, uptimeMs: 2_500, kind: "portion", cause: "deposit", paysFor: 2, chuteCount: 2 },
      { seq: 4, uptimeMs: 9_000, kind: "deposit", metal: true },
      { seq: 5, uptimeMs: 9_500, kind: "refill", grams: 320 },
    ];
    await server.report(key, { boot: "b-1", sentUptimeMs: 10_000, events });
    const day = (await server.app.inject({ url: `/api/v1/feeders/${feeder.id}/day`, headers: server.keeper })).json();
    expect(day.date).toBe("2026-01-15");
    expect(day.marks.map(({ kind, detail }: { kind: string; detail: string }) => `${kind} ${detail}`.trim())).toEqual([
      "visit",
      "deposit paid",
      "portion earned",
      "deposit unpaid",
      "refill 320 g, by the feeder",
    ]);
    expect(day.light.map(({ kind }: { kind: string }) => kind)).toEqual(["night", "twilight", "day", "twilight"]);
    expect(day.text).toBe("1 visit, 2 deposits and 1 portion.");
  });
});

describe("the yard", () => {
  it("passes its place and zone to its feeders", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const payload = { name: "Alder Croft", zone: "Europe/Helsinki", digestTime: "06:45" };
    const url = `/api/v1/yards/${server.yard}`;
    const home = (
      await server.app.inject({ method: "PATCH", url, headers: server.keeper, payload })
    ).json() as HomeView;
    expect(home.yards[0]).toMatchObject(payload);
    expect((await server.store.yards.feeder(feeder.id))?.state.settings.zone).toBe("Europe/Helsinki");
  });

  it("refuses a zone that doesn't exist and an hour that no day has, by field", async () => {
    const server = await openTestServer();
    const payload = { zone: "Mars/Olympus", digestTime: "25:00" };
    const url = `/api/v1/yards/${server.yard}`;
    const answer = await server.app.inject({ method: "PATCH", url, headers: server.keeper, payload });
    expect(answer.json().errors.map(({ field }: { field: string }) => field)).toEqual(["zone", "digestTime"]);
  });
});

describe("phones", () => {
  const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
  const phone = { endpoint: "https://push.example/one", keys, label: "Pocket" };

  it("are added, get a test, and are removed", async () => {
    const server = await openTestServer();
    const added = (await post(server, "/api/v1/phones", phone, server.keeper)).json() as PhonesView;
    expect(added.phones.map(({ label }) => label)).toEqual(["Pocket"]);
    const test = (await post(server, "/api/v1/phones/test", {}, server.keeper)).json();
    expect(test.outcomes).toEqual([{ label: "Pocket", outcome: "accepted", text: expect.any(String) }]);
    expect(server.push.sent.map(({ title }) => title)).toEqual(["Pieward: a test"]);
    const left = await post(server, "/api/v1/phones/forget", { endpoint: phone.endpoint }, server.keeper);
    expect(left.json().phones).toEqual([]);
  });

  it("that are gone are removed by a test", async () => {
    const server = await openTestServer();
    await post(server, "/api/v1/phones", phone, server.keeper);
    server.push.answer = { kind: "subscriptionGone", text: "410 Gone" };
    const test = (await post(server, "/api/v1/phones/test", {}, server.keeper)).json();
    expect(test.outcomes[0].outcome).toBe("gone");
    expect((await server.app.inject({ url: "/api/v1/phones", headers: server.keeper })).json().phones).toEqual([]);
  });

  it("with an endpoint that may not be pushed to are refused by field", async () => {
    const server = await openTestServer();
    const answer = await post(
      server,
      "/api/v1/phones",
      { ...phone, endpoint: "http://push.example/one" },
      server.keeper,
    );
    expect(answer.json().errors).toEqual([{ field: "endpoint", problem: "must be https" }]);
  });

  it("that renew their subscription replace the old one", async () => {
    const server = await openTestServer();
    await post(server, "/api/v1/phones", phone, server.keeper);
    const renewed = { ...phone, endpoint: "https://push.example/two", replaces: phone.endpoint };
    const { phones } = (await post(server, "/api/v1/phones", renewed, server.keeper)).json() as PhonesView;
    expect(phones.map(({ endpoint }) => endpoint)).toEqual(["https://push.example/two"]);
  });
});
