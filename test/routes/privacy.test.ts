import { randomBytes } from "node:crypto";
import { describe, expect, it } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import { accessEvents } from "../../server/routes/securityLog.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Answers are stored by nobody in between, and the log shows who did what, but no secret. */

type Method = "GET" | "POST" | "PATCH" | "DELETE";

/** What the address of a route that opens, changes or ends an access contains. */
const accessPattern = /session|first-sign-in|join| \/reset|invite|people|key|passphrase|confirm|remove|forget|account/;

/** Every documented route, and those that the documentation leaves out. */
async function routesOf(server: TestServer): Promise<readonly (readonly [Method, string])[]> {
  const { paths } = (await server.app.inject({ url: "/api/docs/json" })).json() as { paths: Record<string, object> };
  const documented = Object.entries(paths).flatMap(([path, methods]) =>
    Object.keys(methods).map((method) => [method.toUpperCase() as Method, path] as const),
  );
  return [...documented, ["GET", "/api/v1/health"], ["GET", "/api/v1/nothing"], ["GET", "/api/docs/json"]];
}

describe("every answer of the interface", () => {
  // A browser may keep what a chart shows, and asks each time: history.test.ts.
  it("is stored by no cache: for any sender, with right and wrong ids, and where there is nothing", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    const routes = await routesOf(server);
    expect(routes.length).toBeGreaterThan(40);
    const callers = { keeper: server.keeper, signedOut: {}, feeder: { authorization: `Bearer ${key}` } };
    const cacheable: string[] = [];
    for (const [method, path] of routes) {
      if (path.endsWith("/live")) continue; // a socket
      for (const [caller, headers] of Object.entries(callers)) {
        for (const id of [feeder.id, "none"]) {
          const url = path
            .replace("{feeder}", id)
            .replace("{yard}", server.yard)
            .replace(/\{\w+\}/g, "none");
          // Removing the yard's own things would leave nothing to request.
          if (method === "DELETE" && caller === "keeper") continue;
          const { headers: sent } = await requestAs(server, method, url, headers, method === "GET" ? undefined : {});
          if (sent["cache-control"] !== "no-store")
            cacheable.push(`${caller} ${method} ${url}: ${sent["cache-control"]}`);
        }
      }
    }
    expect(cacheable).toEqual([]);
  });

  it("of the client may be: its files hold no secret", async () => {
    const server = await openTestServer();
    expect((await server.app.inject({ url: "/assets/none.js" })).headers["cache-control"]).toBeUndefined();
    expect((await server.app.inject({ url: "/api/docs" })).headers["cache-control"]).toBe("no-cache");
  });
});

const eventsIn = (server: TestServer) =>
  server.log
    .map((line) => JSON.parse(line) as Record<string, string>)
    .filter(({ event }) => event !== undefined)
    .map(({ level, time, pid, hostname, msg, ...about }) => about);

describe("the log", () => {
  it("records failed tries, refusals, changed keys and ended sessions, with person, address and route", async () => {
    const server = await openTestServer({ logs: true });
    const { feeder } = await server.addFeeder();
    const bo = await joinByInvite(server, "Bo", "helper");
    const { id } = (await requestAs(server, "GET", "/api/v1/me", server.keeper)).json();
    const { id: boId } = (await requestAs(server, "GET", "/api/v1/me", bo)).json();
    const before = eventsIn(server).length;
    const url = `/api/v1/feeders/${feeder.id}`;

    await requestAs(server, "POST", "/api/v1/session", {}, { name: "Bo", passphrase: "a wrong guess" });
    await requestAs(server, "POST", `${url}/key`, bo);
    await requestAs(server, "GET", "/api/v1/feeders/someone-elses", bo);
    await requestAs(server, "POST", `${url}/key`, server.keeper);
    await requestAs(server, "GET", "/api/v1/home", { cookie: "pieward_session=forged" });
    await server.report("pw_wrong", { boot: "b-7f3a91c2", sentUptimeMs: 1 });
    await requestAs(server, "DELETE", "/api/v1/session", bo);

    const address = "127.0.0.1";
    const keyRoute = "POST /api/v1/feeders/:feeder/key";
    expect(eventsIn(server).slice(before)).toEqual([
      { event: "signInRefused", route: "POST /api/v1/session", address, person: boId },
      { event: "refused", route: keyRoute, address, person: boId },
      { event: "foreignAccess", route: "GET /api/v1/feeders/:feeder", address, person: boId },
      { event: "feederKeyChanged", route: keyRoute, address, feeder: feeder.id, person: id },
      { event: "sessionRefused", route: "GET /api/v1/home", address, person: null },
      { event: "feederKeyRefused", address, why: "no feeder has this key" },
      { event: "sessionEnded", route: "DELETE /api/v1/session", address, person: boId },
    ]);
  });

  it("has an event for every route that opens, changes or ends an access", async () => {
    const server = await openTestServer();
    const routes = (await routesOf(server)).map(([method, path]) => `${method} ${path.replace(/\{(\w+)\}/g, ":$1")}`);
    const accessRoutes = routes
      .filter((route) => !route.startsWith("GET "))
      .filter((route) => accessPattern.test(route.replace("/api/v1/", "/")));
    expect(Object.keys(accessEvents).filter((route) => !routes.includes(route))).toEqual([]);
    expect(accessRoutes.length).toBeGreaterThan(5);
    // A challenge and the name of a passkey open and change no access.
    const others = ["/options", "PATCH /api/v1/me/passkeys/:passkey"];
    const without = accessRoutes.filter((route) => accessEvents[route] === undefined);
    expect(without.filter((route) => !others.some((end) => route.endsWith(end)))).toEqual([]);
  });

  it("is not filled by a flood: sixty such lines a minute, and how many were left out", async () => {
    const server = await openTestServer({ logs: true });
    for (let index = 0; index < 80; index += 1) await server.report("pw_wrong", {});
    expect(eventsIn(server)).toHaveLength(60);
    server.clock.advance(minutes(1));
    await server.report("pw_wrong", {});
    expect(eventsIn(server)[60]).toMatchObject({ event: "eventsLeftOut" });
    expect(Number(eventsIn(server)[60]?.count)).toBeGreaterThan(15);
  });

  it("carries no secret, whatever is sent where, and where the server itself fails", async () => {
    const server = await openTestServer({ logs: true });
    const { feeder, key } = await server.addFeeder();
    const planted = {
      key,
      passphrase: "planted jackdaw under the alder",
      token: randomBytes(32).toString("base64url"),
      endpoint: "https://push.example/planted-path",
      keyInUse: `pw_${randomBytes(32).toString("base64url")}`,
      mac: "planted-mac-value",
      cookie: String(server.keeper.cookie).split("=")[1] as string,
    };
    const { passphrase, token, endpoint } = planted;
    const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
    const everything = { name: "Bo", passphrase, token, zone: passphrase, endpoint, keys, label: endpoint, key };
    const walk = async () => {
      for (const [method, path] of await routesOf(server)) {
        if (path.endsWith("/live") || (method === "DELETE" && path.includes("session"))) continue;
        const url = path
          .replace("{feeder}", feeder.id)
          .replace("{yard}", server.yard)
          .replace(/\{\w+\}/g, token);
        const body = method === "GET" ? undefined : everything;
        await requestAs(server, method, url, server.keeper, body);
        await requestAs(server, method, url, { authorization: `Bearer ${planted.keyInUse}` }, body);
        await requestAs(
          server,
          method,
          url,
          { authorization: `Signature feeder="x", time="1", mac="${planted.mac}"` },
          body,
        );
      }
    };
    await walk();
    await requestAs(server, "POST", "/api/v1/phones", server.keeper, { endpoint, keys, label: "Pocket" });
    // The database fails: its errors may contain the values of the query.
    for (const table of ["Session", "Phone", "LogLine"]) {
      await server.connections.write((sql) => sql.$executeRawUnsafe(`ALTER TABLE "${table}" RENAME TO "${table}Away"`));
    }
    await walk();
    // An error of an adapter may contain it too.
    server.app.log.error(
      { err: new Error(`no answer from ${endpoint} with ${key}`), session: token },
      `to ${endpoint}?x`,
    );
    const text = server.log.join("");
    expect(text).toContain("unexpected error");
    expect(text).toContain("https://push.example/***");
    for (const [what, secret] of Object.entries(planted)) {
      const bare = secret.replace("https://push.example", "");
      expect(text.includes(bare), `${what} in ${server.log.find((line) => line.includes(bare))}`).toBe(false);
    }
  });
});
