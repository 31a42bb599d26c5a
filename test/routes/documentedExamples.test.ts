import { execFileSync } from "node:child_process";
import { createHash, createHmac } from "node:crypto";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { eventSchemas } from "../../server/contract/report.ts";
import { minutes } from "../../server/domain/instant.ts";
import type { OpenApi } from "../../server/routes/documentation/openApiShape.ts";
import { documentationPage } from "../../server/routes/documentation/page.ts";
import { style } from "../../server/routes/documentation/style.ts";
import { type DocumentedPage, documentedPage } from "../support/documentedPage.ts";
import { projectFolder } from "../support/imports.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Every example on the documentation's page is posted as the page has it, and answered as the page shows. */

const exampleJson = (page: DocumentedPage, id: string) => JSON.parse(page.example(id));
const kinds = Object.keys(eventSchemas);

interface DocumentedAnswer {
  readonly content: { readonly "application/json": { readonly schema: { properties: Record<string, object> } } };
}

/** The server's clock has the time that the examples show. */
async function openPage(): Promise<{ server: TestServer; page: DocumentedPage; key: string; feeder: string }> {
  const server = await openTestServer();
  const { key, feeder } = await server.addFeeder();
  return { server, page: await documentedPage(server), key, feeder: feeder.id };
}

describe("the examples of reports", () => {
  it("are answered as the page shows", async () => {
    const { server, page, key } = await openPage();
    const first = await server.report(key, page.example("report-example"));
    expect([first.status, first.body]).toEqual([200, exampleJson(page, "answer-example")]);
    server.clock.advance(minutes(1));
    const partly = await server.report(key, page.example("report-partly"));
    expect([partly.status, partly.body]).toEqual([200, exampleJson(page, "answer-partly")]);
    expect((partly.body as { refused: object[] }).refused).toHaveLength(2);
    const leftBehind = await server.report(key, page.example("report-left-behind"));
    expect(leftBehind.body).toMatchObject({ storedThrough: 88, refused: [] });
  });

  it("show an event of each kind, and each is stored with all its fields", async () => {
    const { server, page, key } = await openPage();
    const events = kinds.map((kind) => exampleJson(page, `event-example-${kind}`)).sort((a, b) => a.seq - b.seq);
    const { status, body } = await server.report(key, { boot: "b-2", sentUptimeMs: 120_000, events });
    expect([status, body]).toMatchObject([200, { storedThrough: 8, refused: [], duplicates: 0 }]);
    for (const event of events) {
      for (const field of Object.keys(event)) expect(page.html).toContain(`data-field="${field}"`);
    }
  });

  it("begin with a command whose boot id is another one each time", async () => {
    const { server, page, key } = await openPage();
    const boots = new Set<string>();
    for (let count = 0; count < 3; count += 1) {
      // The shell reads the command as a reader's shell does; only curl itself is replaced, and prints its arguments.
      const shell = `curl() { for given in "$@"; do printf '%s\\n' "$given"; done; }\n${page.example("curl")}`;
      const given = execFileSync("sh", ["-c", shell], { encoding: "utf8" }).trim().split("\n");
      expect(given.slice(0, 5)).toEqual([
        "http://192.168.1.20:8080/api/v1/report",
        "-H",
        "Authorization: Bearer pw_…",
        "-H",
        "Content-Type: application/json",
      ]);
      const body = given[6] ?? "";
      expect((await server.report(key, body)).status).toBe(200);
      boots.add(JSON.parse(body).boot);
    }
    expect(boots.size).toBe(3);
  });
});

describe("the example of an order", () => {
  it("is handed out and answered as the page shows", async () => {
    const { server, page, key, feeder } = await openPage();
    await server.report(key, page.example("report-example"));
    const shown = exampleJson(page, "answer-order");
    const { id, kind } = shown.orders[0];
    const url = `/api/v1/feeders/${feeder}/orders`;
    await server.app.inject({ method: "POST", url, headers: server.keeper, payload: { id, kind } });
    server.clock.advance(minutes(1));
    const handedOut = await server.report(key, { boot: "b-7f3a91c2", sentUptimeMs: 183_456 });
    expect(handedOut.body).toEqual(shown);

    server.clock.advance(minutes(1));
    const events = [exampleJson(page, "order-done")];
    const done = await server.report(key, {
      boot: "b-7f3a91c2",
      sentUptimeMs: 243_456,
      readings: { paused: true },
      events,
    });
    expect(done.body).toMatchObject({ refused: [], orders: [] });
    expect((await server.runPeriodicCheck(feeder)).pause.order).toMatchObject({ id, status: "confirmed" });
  });
});

describe("the worked signature", () => {
  it("is what node:crypto makes of it", async () => {
    const { page } = await openPage();
    const parts = Object.fromEntries(
      [...page.example("signature-parts").matchAll(/^(\w+) +(.+)$/gm)].map(([, name, value]) => [name, value ?? ""]),
    ) as Record<"key" | "feeder" | "time" | "body", string>;
    const secret = createHash("sha256").update(parts.key, "utf8").digest("hex");
    const mac = createHmac("sha256", secret).update(`${parts.time}\n${parts.body}`, "utf8").digest("base64url");
    expect(page.example("signature-result")).toBe(`secret  ${secret}\nmac     ${mac}`);
    expect(page.example("signature-header")).toBe(
      `Authorization: Signature feeder="${parts.feeder}", time="${parts.time}", mac="${mac}"`,
    );
  });

  it.each([
    ["sh", "signature-sh", ["-c"]],
    ["python3", "signature-python", ["-c"]],
  ])("is what the page's own program for %s prints", async (program, id, flags) => {
    const { page } = await openPage();
    const printed = execFileSync(program, [...flags, page.example(id)], { encoding: "utf8" });
    expect(printed.trim()).toBe(page.example("signature-header"));
  });

  it.each([
    ["sh", "signature-sh"],
    ["python3", "signature-python"],
  ])("is accepted when %s signs with a real key", async (program, id) => {
    const { server, page, key, feeder } = await openPage();
    const [shown, ofShown] = [page.example("signature-parts"), (name: string) => new RegExp(`^${name} +(.+)$`, "m")];
    const value = (name: string) => shown.match(ofShown(name))?.[1] ?? "";
    expect(Number(value("time"))).toBe(server.clock.now() / 1_000);
    const script = page.example(id).replaceAll(value("key"), key).replaceAll(value("feeder"), feeder);
    const header = execFileSync(program, ["-c", script], { encoding: "utf8" }).trim();
    const headers = { authorization: header.replace("Authorization: ", ""), "content-type": "application/json" };
    const postSigned = (payload: string) =>
      server.app.inject({ method: "POST", url: "/api/v1/report", headers, payload });
    expect((await postSigned(value("body"))).statusCode).toBe(200);
    expect((await postSigned(`${value("body")} `)).statusCode).toBe(401); // one byte more
    server.clock.advance(minutes(5));
    expect((await postSigned(value("body"))).statusCode).toBe(200);
    server.clock.advance(minutes(1));
    expect((await postSigned(value("body"))).statusCode).toBe(401);
  });
});

describe("the address for health", () => {
  it("answers as the page shows, without a key, and with the time in a header", async () => {
    const { server, page } = await openPage();
    const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
    const answer = await fetch(`${address}/api/v1/health`);
    expect([answer.status, await answer.json()]).toEqual([200, exampleJson(page, "health-example")]);
    expect(Number.isNaN(Date.parse(answer.headers.get("date") ?? ""))).toBe(false);
  });
});

describe("the page", () => {
  it("has no example that no test runs", async () => {
    const { page } = await openPage();
    const ids = [...page.html.matchAll(/<pre[^>]* id="([^"]+)"/g)].map(([, id]) => id ?? "");
    const inReports = [
      "report-example",
      "answer-example",
      "report-partly",
      "answer-partly",
      "report-left-behind",
      "curl",
    ];
    const inOrders = ["answer-order", "order-done"];
    const inSignature = ["parts", "result", "header", "sh", "python"].map((part) => `signature-${part}`);
    const inLink = ["answer", "problem", "orders", "plan"].map((frame) => `frame-${frame}-example`); // documentedLink.test.ts
    const inBroker = ["report", "answer", "problem", "orders", "plan"].map((name) => `mqtt-${name}-example`); // documentedBroker.test.ts
    const tested = [...inReports, ...inOrders, ...inSignature, ...inLink, ...inBroker, "health-example"];
    expect(ids.sort()).toEqual([...tested, ...kinds.map((kind) => `event-example-${kind}`)].sort());
    // Examples without a name: the key's header, refusals (documentedRefusals.test.ts) and bodies of keepers (publicRoutes.test.ts).
    const unnamed = [...page.html.matchAll(/<pre(?![^>]* id=)[^>]*aria-label="([^"]+)"/g)].map(
      ([, label]) => label ?? "",
    );
    const known = /^(The header with the key|The problem: \d+|An example of the body)/;
    expect(unnamed.filter((label) => !known.test(label))).toEqual([]);
  });

  it("shows a field and a route that are new by itself", async () => {
    const { server } = await openPage();
    const document = server.app.swagger() as unknown as OpenApi;
    const changed = structuredClone(document) as { paths: Record<string, Record<string, unknown>> };
    const report = changed.paths["/api/v1/report"]?.post as { responses: Record<string, never> };
    const { schema } = (report.responses["200"] as unknown as DocumentedAnswer).content["application/json"];
    schema.properties.newField = { type: "array", items: { type: "string" } };
    changed.paths["/api/v1/yards/{yard}/orders"] = { post: { "x-who-may": "keepers of the yard" } };
    const html = documentationPage(changed as unknown as OpenApi, 60);
    expect(html).toContain('data-field="newField"');
    expect(html).toContain('data-route="POST /api/v1/yards/{yard}/orders"');
    expect(documentationPage(document, 60)).not.toContain("newField");
  });

  it("has the notebook's own colours", () => {
    const colours = (sheet: string) => sheet.match(/--[a-z-]+: (#[0-9a-f]{6}|".*");?/g) ?? [];
    const ink = readFileSync(join(projectFolder, "client/style/colours.css"), "utf8");
    const [light = "", dark = ""] = ink.split("@media (prefers-color-scheme: dark)");
    const [ourLight = "", ourDark = ""] = style.split("@media (prefers-color-scheme: dark)");
    expect(colours(ourLight).length).toBeGreaterThan(6);
    for (const colour of colours(ourLight)) expect(light).toContain(colour);
    for (const colour of colours(ourDark.split("\n}\n")[0] ?? "")) expect(dark).toContain(colour);
  });
});
