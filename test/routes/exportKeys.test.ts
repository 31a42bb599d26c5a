import { describe, expect, it } from "vitest";
import type { ExportKeysView, MadeExportKeyView } from "../../server/contract/api.ts";
import { after, days, minutes } from "../../server/domain/instant.ts";
import { makeReset } from "../../server/flows/accounts.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** The passphrase with which `openTestServer` makes the first account. */
const passphrase = "birds before breakfast";
const better = "seven quiet winters outside";

type Headers = Record<string, string>;

const make = (server: TestServer, request: object = {}, as: Headers = server.keeper) =>
  requestAs(server, "POST", "/api/v1/me/export-keys", as, { name: "My table", days: 90, passphrase, ...request });
const keyOf = async (server: TestServer, request: object = {}, as: Headers = server.keeper) =>
  ((await make(server, request, as)).json() as MadeExportKeyView).key;
const list = async (server: TestServer, as: Headers = server.keeper) =>
  ((await requestAs(server, "GET", "/api/v1/me/export-keys", as)).json() as ExportKeysView).keys;
/** As a program asks: without our header and without a cookie. */
const read = (server: TestServer, key: string, yard = server.yard, remoteAddress = "10.9.0.1") =>
  server.app.inject({
    url: `/api/v1/yards/${yard}/training/export?table=notes&format=jsonl`,
    headers: { authorization: `Bearer ${key}` },
    remoteAddress,
  });
const statusOf = async (server: TestServer, key: string, yard = server.yard) =>
  (await read(server, key, yard)).statusCode;

describe("an export key", () => {
  it("is shown once, stored only as a hash, and reads the export and its dictionary", async () => {
    const server = await openTestServer();
    await requestAs(server, "POST", `/api/v1/yards/${server.yard}/notes`, server.keeper, {
      id: "note-0001",
      text: "a jay",
    });
    const made = await make(server);
    const { key, keys } = made.json() as MadeExportKeyView;
    expect(made.statusCode).toBe(201);
    expect(key).toMatch(/^pw_read_[\w-]{43}$/);
    expect(keys).toMatchObject([{ name: "My table", lastUsedAt: null }]);
    const found = await read(server, key);
    expect([found.statusCode, JSON.parse(found.body).text]).toEqual([200, "a jay"]);
    const url = `/api/v1/yards/${server.yard}/training/export/dictionary`;
    expect((await server.app.inject({ url, headers: { authorization: `bearer ${key}` } })).statusCode).toBe(200);
    const stored = JSON.stringify(await server.store.accounts.exportKeysOf((await meOf(server, server.keeper)).id));
    expect(stored).not.toContain(key);
    expect(JSON.stringify(await list(server))).not.toContain(key.slice(8));
  });

  it("is listed with its last use, to within a minute", async () => {
    const server = await openTestServer();
    const key = await keyOf(server);
    const lastUse = async () => (await list(server))[0]?.lastUsedAt;
    const first = new Date(server.clock.now()).toISOString();
    await read(server, key);
    expect(await lastUse()).toBe(first);
    server.clock.advance(minutes(0.5));
    await read(server, key);
    expect(await lastUse()).toBe(first);
    server.clock.advance(minutes(0.5));
    await read(server, key);
    expect(await lastUse()).toBe(new Date(server.clock.now()).toISOString());
  });

  it("is made with the passphrase, a name and one of two lives", async () => {
    const server = await openTestServer();
    const wrong = await make(server, { passphrase: "cats before breakfast" });
    expect([wrong.statusCode, wrong.json().errors]).toEqual([
      400,
      [{ field: "passphrase", problem: "is not correct" }],
    ]);
    expect((await make(server, { days: 91 })).json().errors).toEqual([{ field: "days", problem: "must be 90 or 365" }]);
    expect((await make(server, { name: " " })).statusCode).toBe(400);
    expect(await list(server)).toEqual([]);
  });

  it("is one of ten at most", async () => {
    const server = await openTestServer();
    const person = (await meOf(server, server.keeper)).id;
    const row = { person, name: "Table", createdAt: server.clock.now(), lastUsedAt: null };
    const expiresAt = after(server.clock.now(), days(90));
    for (let count = 1; count < 10; count += 1)
      await server.store.accounts.addExportKey({ ...row, id: `${count}`, keyHash: `${count}`, expiresAt }, 10);
    expect((await make(server)).statusCode).toBe(201);
    const refused = await make(server);
    expect([refused.statusCode, refused.json().detail]).toEqual([
      409,
      expect.stringContaining("You have 10 export keys"),
    ]);
  });

  it("opens nothing else: no other route, no other yard, no change", async () => {
    const server = await openTestServer();
    const key = await keyOf(server);
    const headers = { authorization: `Bearer ${key}`, "x-pieward": "1" };
    for (const url of [
      "/home",
      "/me",
      "/me/export-keys",
      `/yards/${server.yard}/training`,
      `/yards/${server.yard}/notes`,
    ])
      expect([url, (await server.app.inject({ url: `/api/v1${url}`, headers })).statusCode]).toEqual([url, 401]);
    expect((await make(server, {}, headers)).statusCode).toBe(401);
    expect((await server.report(key, { boot: "b-1", readings: {} })).status).toBe(401);
    const [yard] = await server.store.yards.yards();
    const bo = await joinByInvite(server, "Bo", "helper");
    const person = (await meOf(server, bo)).id;
    await server.store.yards.addYard({ ...yard, id: "north-croft" } as never, person, server.clock.now());
    expect(await statusOf(server, key, "north-croft")).toBe(404);
    expect(await statusOf(server, key, "no-such-yard")).toBe(404);
  });
});

describe("the end of an export key", () => {
  it("comes after 90 days or a year, as was chosen", async () => {
    const server = await openTestServer();
    const [short, long] = [await keyOf(server), await keyOf(server, { days: 365 })];
    server.clock.advance(days(89.9));
    expect([await statusOf(server, short), await statusOf(server, long)]).toEqual([200, 200]);
    server.clock.advance(days(0.1));
    expect([await statusOf(server, short), await statusOf(server, long)]).toEqual([401, 200]);
    server.clock.advance(days(275));
    expect(await statusOf(server, long)).toBe(401);
  });

  it("comes at once when its person removes it; nobody else can", async () => {
    const server = await openTestServer();
    const key = await keyOf(server);
    const bo = await joinByInvite(server, "Bo", "keeper");
    const id = (await list(server))[0]?.id;
    const remove = (as: Headers) => requestAs(server, "DELETE", `/api/v1/me/export-keys/${id}`, as);
    expect([(await remove(bo)).statusCode, await statusOf(server, key)]).toEqual([404, 200]);
    expect([(await remove(server.keeper)).json().keys, await statusOf(server, key)]).toEqual([[], 401]);
    expect((await remove(server.keeper)).statusCode).toBe(404);
  });

  it("comes with signing out all other devices, a new passphrase and a reset, not with one device's end", async () => {
    const server = await openTestServer();
    const one = await keyOf(server);
    await requestAs(server, "POST", "/api/v1/session", {}, { name: "Keeper", passphrase });
    const { sessions } = (await requestAs(server, "GET", "/api/v1/me/sessions", server.keeper)).json();
    const other = sessions.find(({ here }: { here: boolean }) => !here).id;
    await requestAs(server, "DELETE", `/api/v1/me/sessions/${other}`, server.keeper);
    expect(await statusOf(server, one)).toBe(200);
    await requestAs(server, "DELETE", "/api/v1/me/sessions", server.keeper);
    expect(await statusOf(server, one)).toBe(401);
    const two = await keyOf(server);
    await requestAs(server, "POST", "/api/v1/me/passphrase", server.keeper, { old: passphrase, passphrase: better });
    expect(await statusOf(server, two)).toBe(401);
    const three = await keyOf(server, { passphrase: better });
    expect(await statusOf(server, three)).toBe(200);
    const made = await makeReset(server.ports, "Keeper");
    if (made.kind !== "made") throw new Error("expected a link");
    await requestAs(server, "POST", "/api/v1/reset", {}, { token: made.token, passphrase });
    expect(await statusOf(server, three)).toBe(401);
  });

  it("comes for a yard with the person's removal from it, and altogether with their account", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const person = (await meOf(server, bo)).id;
    const [yard] = await server.store.yards.yards();
    await server.store.yards.addYard({ ...yard, id: "north-croft" } as never, person, server.clock.now());
    const own = await keyOf(server, { passphrase: "three grey birds at breakfast" }, bo);
    expect([await statusOf(server, own), await statusOf(server, own, "north-croft")]).toEqual([200, 200]);
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${person}`, server.keeper);
    expect([await statusOf(server, own), await statusOf(server, own, "north-croft")]).toEqual([404, 200]);
    await server.store.yards.removeYard("north-croft", null);
    await server.store.accounts.removeAccount(person, [], server.clock.now());
    expect([await statusOf(server, own), await statusOf(server, own, "north-croft")]).toEqual([401, 401]);
  });
});

describe("the limits of export keys", () => {
  it("refuses an address after sixty wrong keys a minute, and a right key from there still reads", async () => {
    const server = await openTestServer({ logs: true });
    const key = await keyOf(server);
    const statuses = [];
    for (let count = 0; count < 61; count += 1) statuses.push(await statusOf(server, "pw_read_wrong"));
    expect([statuses[0], statuses[59], statuses[60]]).toEqual([401, 401, 429]);
    const refused = await read(server, "pw_read_wrong");
    expect(Number(refused.headers["retry-after"])).toBeGreaterThan(0);
    expect((await read(server, "pw_read_wrong", server.yard, "10.9.0.2")).statusCode).toBe(401);
    expect(await statusOf(server, key)).toBe(200);
  });

  it("lets a key read thirty times a minute", async () => {
    const server = await openTestServer();
    const [key, other] = [await keyOf(server), await keyOf(server)];
    const statuses = [];
    for (let count = 0; count < 31; count += 1) statuses.push(await statusOf(server, key));
    expect([statuses[29], statuses[30], await statusOf(server, other)]).toEqual([200, 429, 200]);
    server.clock.advance(minutes(1));
    expect(await statusOf(server, key)).toBe(200);
  });
});

const meOf = async (server: TestServer, as: Headers) =>
  (await requestAs(server, "GET", "/api/v1/me", as)).json() as { readonly id: string };
