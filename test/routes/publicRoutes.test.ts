import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import type { AddressInfo } from "node:net";
import { connect } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import supertest from "supertest";
import { describe, expect, it, onTestFinished } from "vitest";
import { reportExample } from "../../server/contract/reportExample.ts";
import { openTestServer } from "../support/testServer.ts";

/** What anybody gets without signing in, over real sockets. */

function builtClient(): string {
  const folder = mkdtempSync(join(tmpdir(), "pieward-client-"));
  mkdirSync(join(folder, "assets"));
  writeFileSync(join(folder, "index.html"), "<!doctype html><title>Pieward</title>");
  writeFileSync(join(folder, "worker.js"), "// worker");
  writeFileSync(join(folder, "assets", "main-1a2b3c.js"), "// main");
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

describe("the client's files", () => {
  it("may be cached for ever where the name has a hash, and are checked again otherwise", async () => {
    const { app } = await openTestServer({ clientFolder: builtClient() });
    await app.ready();
    const visitor = supertest(app.server);
    const asset = await visitor.get("/assets/main-1a2b3c.js").expect(200);
    expect(asset.headers["cache-control"]).toBe("public, max-age=31536000, immutable");
    for (const path of ["/", "/worker.js"]) {
      const { headers } = await visitor.get(path).expect(200);
      expect(headers["cache-control"]).toBe("no-cache");
    }
  });

  it("open the client at any address that a browser may have stored", async () => {
    const { app } = await openTestServer({ clientFolder: builtClient() });
    await app.ready();
    await supertest(app.server)
      .get("/feeders/rowan-4f2a9c")
      .set("accept", "text/html")
      .expect(200, /<title>Pieward/);
  });

  it("don't answer for what isn't there: neither in the API nor among the files", async () => {
    const { app } = await openTestServer({ clientFolder: builtClient() });
    await app.ready();
    const visitor = supertest(app.server);
    for (const path of ["/api/v1/nothing", "/assets/old-000000.js"]) {
      const { headers } = await visitor.get(path).set("accept", "*/*").expect(404);
      expect(headers["content-type"]).toContain("application/problem+json");
    }
    await visitor.get("/..%2f..%2fpackage.json").expect(404);
  });
});

const misspeltReadings = Array.from({ length: 20 }, (_, index) => ["x".repeat(58) + index, 1]);

describe("every answer", () => {
  it.each(["/", "/feeders/rowan-4f2a9c", "/api/v1/health", "/api/v1/home", "/api/v1/nothing", "/assets/old-000000.js"])(
    "that a browser may show comes with headers that let nothing foreign run in the page: %s",
    async (path) => {
      const { app } = await openTestServer({ clientFolder: builtClient() });
      await app.ready();
      const { headers } = await supertest(app.server).get(path).set("accept", "text/html");
      expect(headers["content-security-policy"]).toContain("default-src 'self'");
      expect(headers["content-security-policy"]).toContain("frame-ancestors 'none'");
      expect(headers["x-content-type-options"]).toBe("nosniff");
      expect(headers["strict-transport-security"]).toBeUndefined(); // plain HTTP at home must go on working
    },
  );

  it("to a feeder comes without them, uncompressed, and is stored by no cache", async () => {
    const { app, addFeeder } = await openTestServer();
    await app.ready();
    const { key } = await addFeeder();
    const report = { ...reportExample, readings: Object.fromEntries(misspeltReadings) };
    const { headers, text } = await supertest(app.server)
      .post("/api/v1/report")
      .set({ authorization: `Bearer ${key}`, "accept-encoding": "br, gzip" })
      .send(report)
      .expect(200);
    expect(Object.keys(headers).sort()).toEqual([
      "cache-control",
      "connection",
      "content-length",
      "content-type",
      "date",
    ]);
    expect(headers["cache-control"]).toBe("no-store");
    expect(text.length).toBeGreaterThan(1_024); // what is longer is compressed for browsers
  });

  it("reports that the server is well as long as its database answers", async () => {
    const { app, connections } = await openTestServer();
    await app.ready();
    await supertest(app.server).get("/api/v1/health").expect(200, { status: "well" });
    await connections.reader.$executeRawUnsafe("PRAGMA query_only = OFF");
    await connections.reader.$executeRawUnsafe('ALTER TABLE "Keeper" RENAME TO "Gone"');
    await supertest(app.server).get("/api/v1/health").expect(500);
  });

  it("documents the feeders' interface in OpenAPI, with a page to read it", async () => {
    const { app } = await openTestServer();
    await app.ready();
    const { body } = await supertest(app.server).get("/api/docs/json").expect(200);
    expect(body.openapi).toBe("3.1.0");
    expect(Object.keys(body.paths)).toContain("/api/v1/report");
    await supertest(app.server)
      .get("/api/docs/")
      .expect(200, /POST \/api\/v1\/report/);
  });
});

describe("the documentation's examples", () => {
  it("run, every one of them", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    const { body } = await supertest(server.app.server).get("/api/docs/json");
    const ran: string[] = [];
    for (const [path, methods] of Object.entries<Record<string, Documented>>(body.paths)) {
      const schema = methods.post?.requestBody?.content["application/json"].schema;
      if (schema?.example === undefined) continue;
      const payload = path === "/api/v1/feeders" ? { ...schema.example, yard: server.yard } : schema.example;
      const headers = path === "/api/v1/report" ? { authorization: `Bearer ${key}` } : server.keeper;
      const url = path.replace("{feeder}", feeder.id).replace("{yard}", server.yard);
      const answer = await server.app.inject({ method: "POST", url, headers, payload });
      expect(answer.statusCode, `${path}: ${answer.body}`).toBeLessThan(300);
      ran.push(path);
    }
    expect(ran.sort()).toEqual([
      "/api/v1/feeders",
      "/api/v1/feeders/{feeder}/orders",
      "/api/v1/feeders/{feeder}/refills",
      "/api/v1/report",
      "/api/v1/yards/{yard}/disease-notice",
      "/api/v1/yards/{yard}/orders",
    ]);
  });
});

interface Documented {
  readonly requestBody?: {
    readonly content: { readonly "application/json": { readonly schema: { example?: object } } };
  };
}

describe("a sender that keeps its connection busy", () => {
  it("with a body that never ends is cut off, while others are served", { timeout: 30_000 }, async () => {
    const server = await openTestServer({ requestTimeoutMilliseconds: 500 });
    const { key } = await server.addFeeder();
    await server.app.listen({ port: 0, host: "127.0.0.1" });
    const { port } = server.app.server.address() as AddressInfo;
    const socket = connect(port, "127.0.0.1");
    socket.write(
      `POST /api/v1/report HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer ${key}\r\nContent-Type: application/json\r\n` +
        'Content-Length: 1000\r\n\r\n{"boot":"b-1",',
    );
    let answer = "";
    socket.on("data", (chunk) => {
      answer += chunk;
    });
    const cut = new Promise((resolve) => socket.on("close", resolve));
    expect((await server.report(key, { boot: "b-2", sentUptimeMs: 5 })).status).toBe(200);
    await cut;
    expect(answer).toMatch(/^HTTP\/1\.1 408 /);
  });
});
