import { describe, expect, it } from "vitest";
import type { FeederView, HomeView, PhonesView } from "../../server/contract/api.ts";
import { days, hours, isoOf } from "../../server/domain/instant.ts";
import { openFirstSignIn } from "../../server/flows/signIn.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const post = (house: TestServer, url: string, payload: object, headers: Record<string, string> = {}) =>
  house.app.inject({ method: "POST", url, payload, headers });
const signedIn = async (house: TestServer, headers: Record<string, string>) =>
  (await house.app.inject({ url: "/api/v1/session", headers })).statusCode === 200;
const cookieOf = (answer: { headers: Record<string, unknown> }) =>
  String(answer.headers["set-cookie"]).split(";")[0] as string;

describe("the claim link", () => {
  it("works once, and isn't given out again", async () => {
    const house = await openTestServer(); // claimed already
    expect(await openFirstSignIn(house.ports)).toBeNull();
    const again = { token: "any", name: "Second", passphrase: "a long enough one" };
    expect((await post(house, "/api/v1/claim", again)).statusCode).toBe(401);
  });

  it("asks for a passphrase worth having, naming the field", async () => {
    const house = await openTestServer();
    const answer = await post(house, "/api/v1/claim", { token: "any", name: "Keeper", passphrase: "short" });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors).toEqual([{ field: "passphrase", problem: "must be at least 15 characters" }]);
  });
});

describe("signing in", () => {
  const right = { name: "Keeper", passphrase: "birds before breakfast" };

  it("opens a session with the right passphrase, and tells nobody which half was wrong", async () => {
    const house = await openTestServer();
    const answer = await post(house, "/api/v1/session", right);
    expect(answer.statusCode).toBe(200);
    expect(String(answer.headers["set-cookie"])).toMatch(/HttpOnly.*SameSite=Lax/);
    expect(await signedIn(house, { cookie: cookieOf(answer) })).toBe(true);

    const wrong = await post(house, "/api/v1/session", { ...right, passphrase: "cats before breakfast" });
    const unknown = await post(house, "/api/v1/session", { ...right, name: "Nobody" });
    expect([wrong.statusCode, unknown.statusCode]).toEqual([401, 401]);
    expect(wrong.json()).toEqual(unknown.json());
  });

  it("allows few tries a minute", async () => {
    const house = await openTestServer();
    const statuses = [];
    for (let count = 0; count < 11; count += 1) {
      statuses.push((await post(house, "/api/v1/session", { ...right, passphrase: "guess number n" })).statusCode);
    }
    expect(statuses).toEqual([...Array(10).fill(401), 429]);
  });

  it("ends with signing out, with a forged cookie, and after thirty days without use", async () => {
    const house = await openTestServer();
    const cookie = cookieOf(await post(house, "/api/v1/session", right));
    await house.app.inject({ method: "DELETE", url: "/api/v1/session", headers: { cookie } });
    expect(await signedIn(house, { cookie })).toBe(false);
    expect(await signedIn(house, { cookie: `${house.keeper.cookie}x` })).toBe(false);

    house.clock.advance(days(29));
    expect(await signedIn(house, house.keeper)).toBe(true); // used, and so it lives on
    house.clock.advance(days(29));
    expect(await signedIn(house, house.keeper)).toBe(true);
    house.clock.advance(days(30));
    expect(await signedIn(house, house.keeper)).toBe(false);
  });
});

describe("the keeper's rooms", () => {
  const rooms: ["GET" | "POST" | "PATCH" | "DELETE", string][] = [
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
    ["GET", "/api/v1/yards/x/rates"],
    ["GET", "/api/v1/me"],
    ["PATCH", "/api/v1/me"],
    ["POST", "/api/v1/me/mail/test"],
    ["GET", "/api/v1/phones"],
    ["POST", "/api/v1/phones"],
    ["POST", "/api/v1/phones/forget"],
    ["POST", "/api/v1/phones/test"],
    ["POST", "/api/v1/practice"],
    ["DELETE", "/api/v1/practice"],
    ["POST", "/api/v1/practice/fault"],
  ];
  it.each(rooms)("%s %s stays shut to strangers", async (method, url) => {
    const house = await openTestServer();
    const answer = await house.app.inject({ method, url, headers: { "x-pieward": "1" } });
    expect(answer.statusCode).toBe(401);
    expect(answer.headers["content-type"]).toContain("application/problem+json");
  });

  it("let no other site's page change anything with this browser's cookie", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder();
    const cookie = house.keeper.cookie as string;
    const order = { id: "pause-0001", kind: "pause" };
    expect((await post(house, `/api/v1/feeders/${feeder.id}/orders`, order, { cookie })).statusCode).toBe(403);
    expect((await house.runPeriodicCheck(feeder.id)).pause.order).toBeNull();
  });
});

describe("a feeder", () => {
  it("is added with its key shown once, changed in plain words, and removed with all it told", async () => {
    const house = await openTestServer();
    const { feeder, key } = await house.addFeeder({ battery: "leadAcid", hopperCapacityGrams: 800 });
    expect(key).toMatch(/^pw_[A-Za-z0-9_-]{43}$/);
    expect(feeder.settings).toMatchObject({ name: "Rowan", battery: "leadAcid", hopperCapacityGrams: 800 });
    expect(feeder.summary).toBe("No report yet.");

    const url = `/api/v1/feeders/${feeder.id}`;
    const changed = await house.app.inject({ method: "PATCH", url, headers: house.keeper, payload: { food: "suet" } });
    expect(changed.json().settings).toMatchObject({ food: "suet", battery: "leadAcid" });

    await house.report(key, { boot: "b-1", sentUptimeMs: 5, events: [{ seq: 1, uptimeMs: 5, kind: "press" }] });
    expect((await house.app.inject({ method: "DELETE", url, headers: house.keeper })).statusCode).toBe(204);
    expect((await house.app.inject({ url, headers: house.keeper })).statusCode).toBe(404);
    const now = house.clock.now();
    expect(await house.store.records.events(feeder.id, (now - days(1)) as never, (now + 1) as never, 9)).toEqual([]);
  });

  it("is believed about its sensors until its keeper says otherwise", async () => {
    const house = await openTestServer();
    const { feeder, key } = await house.addFeeder();
    expect(feeder.settings.sensors.scale).toBe(false);
    await house.report(key, { boot: "b-1", sentUptimeMs: 5, readings: { hopperGrams: 812 } });
    const noticed = await house.runPeriodicCheck(feeder.id);
    expect(noticed.settings.sensors.scale).toBe(true);
    expect(noticed.hopper.level?.grams).toBeCloseTo(812, 0);

    const url = `/api/v1/feeders/${feeder.id}`;
    const payload = { sensors: { ...noticed.settings.sensors, scale: false } };
    await house.app.inject({ method: "PATCH", url, headers: house.keeper, payload });
    await house.report(key, { boot: "b-1", sentUptimeMs: 65_000, readings: { hopperGrams: 790 } });
    expect((await house.runPeriodicCheck(feeder.id)).settings.sensors.scale).toBe(false);
  });

  it("refuses absurd settings by field, and keeps the old ones", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder();
    const url = `/api/v1/feeders/${feeder.id}`;
    const payload = { hopperCapacityGrams: -5, battery: "nuclear" };
    const answer = await house.app.inject({ method: "PATCH", url, headers: house.keeper, payload });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors.map(({ field }: { field: string }) => field)).toEqual([
      "hopperCapacityGrams",
      "battery",
    ]);
    expect((await house.runPeriodicCheck(feeder.id)).settings).toEqual(feeder.settings);
  });

  it("is told its food from a list, its portion by pieces or by weighing, and what it can't tell with what it has", async () => {
    const house = await openTestServer();
    const home = (await house.app.inject({ url: "/api/v1/home", headers: house.keeper })).json() as HomeView;
    expect(home.foods).toContainEqual({ kind: "catKibble", name: "dry cat kibble", pieceGrams: 0.3 });
    const sensors = { button: true, detector: true, chute: true, perch: false, scale: false };
    const { feeder } = await house.addFeeder({ foodKind: "catKibble", grainsPerPortion: 4, sensors });
    expect(feeder.settings).toMatchObject({ food: "dry cat kibble", foodKind: "catKibble", portionGrams: 1.2 });
    expect(feeder.hopper.portionText).toBe("A portion counts as 1.2 g, reckoned from 4 pieces.");
    expect(feeder.blindSpots).toContain("Without a scale, a blind chute sensor looks like a jam.");

    const url = `/api/v1/feeders/${feeder.id}`;
    const patch = (payload: object) => house.app.inject({ method: "PATCH", url, headers: house.keeper, payload });
    const weighed = (await patch({ tenPortionsGrams: 15 })).json() as FeederView;
    expect(weighed.settings).toMatchObject({ grainsPerPortion: 4, portionGrams: 1.5 });
    expect(weighed.settings).not.toHaveProperty("tenPortionsGrams");
    const refused = (await patch({ foodKind: "other", grainsPerPortion: 0 })).json().errors;
    expect(refused.map(({ field }: { field: string }) => field)).toContain("grainsPerPortion");
    expect((await patch({ foodKind: "other" })).json().errors).toEqual([
      { field: "food", problem: "must say in your own words what it is" },
    ]);
    expect((await house.runPeriodicCheck(feeder.id)).settings).toEqual(weighed.settings);
  });

  it("takes a refill once, however often the client repeats it", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder();
    const url = `/api/v1/feeders/${feeder.id}/refills`;
    await post(house, url, { id: "refill-01", what: { kind: "level", grams: 300 } }, house.keeper);
    const refill = { id: "refill-02", what: { kind: "added", grams: 200 } };
    const first = (await post(house, url, refill, house.keeper)).json() as FeederView;
    const again = (await post(house, url, refill, house.keeper)).json() as FeederView;
    expect(first.hopper.level?.grams).toBeCloseTo(500, 0);
    expect(again.hopper.level).toEqual(first.hopper.level);
  });

  it("refuses a refill from the future and one of no grams, by field", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder();
    const url = `/api/v1/feeders/${feeder.id}/refills`;
    const at = isoOf((house.clock.now() + hours(1)) as never);
    const future = await post(house, url, { id: "refill-01", at, what: { kind: "filled" } }, house.keeper);
    const nothing = await post(house, url, { id: "refill-01", what: { kind: "added", grams: 0 } }, house.keeper);
    expect(future.json().errors[0].field).toBe("at");
    expect(nothing.json().errors[0].field).toBe("what.grams");
  });

  it("shows its day from dusk to dusk with what happened", async () => {
    const house = await openTestServer();
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    const yardUrl = `/api/v1/yards/${house.yard}`;
    await house.app.inject({ method: "PATCH", url: yardUrl, headers: house.keeper, payload: { place } });
    const { feeder, key } = await house.addFeeder();
    const events = [
      { seq: 1, uptimeMs: 1_000, kind: "visit" },
      { seq: 2, uptimeMs: 2_000, kind: "deposit", metal: true },
      { seq: 3, uptimeMs: 2_500, kind: "portion", cause: "deposit", paysFor: 2, chuteCount: 2 },
      { seq: 4, uptimeMs: 9_000, kind: "deposit", metal: true },
      { seq: 5, uptimeMs: 9_500, kind: "refill", grams: 320 },
    ];
    await house.report(key, { boot: "b-1", sentUptimeMs: 10_000, events });
    const day = (await house.app.inject({ url: `/api/v1/feeders/${feeder.id}/day`, headers: house.keeper })).json();
    expect(day.date).toBe("2026-01-15");
    expect(day.marks.map(({ kind, detail }: { kind: string; detail: string }) => `${kind} ${detail}`.trim())).toEqual([
      "visit",
      "deposit paid",
      "portion earned",
      "deposit unpaid",
      "refill 320 g, by the feeder",
    ]);
    expect(day.light.map(({ kind }: { kind: string }) => kind)).toEqual(["night", "twilight", "day", "twilight"]);
    expect(day.words).toBe("1 visit, 2 deposits and 1 portion.");
  });
});

describe("the yard", () => {
  it("hands its place and zone on to its feeders", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder();
    const payload = { name: "Alder Croft", zone: "Europe/Helsinki", digestTime: "06:45" };
    const url = `/api/v1/yards/${house.yard}`;
    const home = (await house.app.inject({ method: "PATCH", url, headers: house.keeper, payload })).json() as HomeView;
    expect(home.yards[0]).toMatchObject(payload);
    expect((await house.store.yards.feeder(feeder.id))?.state.settings.zone).toBe("Europe/Helsinki");
  });

  it("refuses a zone that doesn't exist and an hour that no day has, by field", async () => {
    const house = await openTestServer();
    const payload = { zone: "Mars/Olympus", digestTime: "25:00" };
    const url = `/api/v1/yards/${house.yard}`;
    const answer = await house.app.inject({ method: "PATCH", url, headers: house.keeper, payload });
    expect(answer.json().errors.map(({ field }: { field: string }) => field)).toEqual(["zone", "digestTime"]);
  });
});

describe("phones", () => {
  const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
  const phone = { endpoint: "https://push.example/one", keys, label: "Pocket" };

  it("are added, told a test, and forgotten", async () => {
    const house = await openTestServer();
    const added = (await post(house, "/api/v1/phones", phone, house.keeper)).json() as PhonesView;
    expect(added.phones.map(({ label }) => label)).toEqual(["Pocket"]);
    const told = (await post(house, "/api/v1/phones/test", {}, house.keeper)).json();
    expect(told.outcomes).toEqual([{ label: "Pocket", outcome: "accepted", words: expect.any(String) }]);
    expect(house.push.sent.map(({ title }) => title)).toEqual(["Pieward: a test"]);
    const left = await post(house, "/api/v1/phones/forget", { endpoint: phone.endpoint }, house.keeper);
    expect(left.json().phones).toEqual([]);
  });

  it("that are gone are removed by a test", async () => {
    const house = await openTestServer();
    await post(house, "/api/v1/phones", phone, house.keeper);
    house.push.answer = { kind: "subscriptionGone", text: "410 Gone" };
    const told = (await post(house, "/api/v1/phones/test", {}, house.keeper)).json();
    expect(told.outcomes[0].outcome).toBe("gone");
    expect((await house.app.inject({ url: "/api/v1/phones", headers: house.keeper })).json().phones).toEqual([]);
  });

  it("with an endpoint that may not be pushed to are refused by field", async () => {
    const house = await openTestServer();
    const answer = await post(house, "/api/v1/phones", { ...phone, endpoint: "http://push.example/one" }, house.keeper);
    expect(answer.json().errors).toEqual([{ field: "endpoint", problem: "must be https" }]);
  });

  it("that renew their subscription replace the old one", async () => {
    const house = await openTestServer();
    await post(house, "/api/v1/phones", phone, house.keeper);
    const renewed = { ...phone, endpoint: "https://push.example/two", replaces: phone.endpoint };
    const { phones } = (await post(house, "/api/v1/phones", renewed, house.keeper)).json() as PhonesView;
    expect(phones.map(({ endpoint }) => endpoint)).toEqual(["https://push.example/two"]);
  });
});
