import { readFileSync } from "node:fs";
import { type AddressInfo, connect } from "node:net";
import { join } from "node:path";
import Database from "better-sqlite3";
import { describe, expect, it } from "vitest";
import WebSocket from "ws";
import { seconds } from "../../server/domain/instant.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { texts } from "../../server/text/index.ts";
import { type DocumentedPage, documentedPage } from "../support/documentedPage.ts";
import { projectFolder } from "../support/imports.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Every refusal on the documentation's page is provoked over HTTP, and every one that the routes can give is on the page. */

interface Met {
  readonly status: number;
  readonly type: string;
  readonly problem: object;
  readonly retryAfter: string | undefined;
}

const press = (seq: number) => ({ seq, uptimeMs: 5, kind: "press" });
const plain = (more: object = {}) => JSON.stringify({ boot: "b-7f3a91c2", sentUptimeMs: 1_000, ...more });
const json = "application/json";

async function postReport(
  server: TestServer,
  authorization: string,
  body: string,
  type: string | null = json,
  url = report,
) {
  const headers = { authorization, ...(type === null ? {} : { "content-type": type }) };
  return metIn(await server.app.inject({ method: "POST", url, headers, payload: body }));
}
const report = "/api/v1/report";

const metIn = (answer: { statusCode: number; headers: Record<string, unknown>; json(): object }): Met => ({
  status: answer.statusCode,
  type: String(answer.headers["content-type"]),
  problem: answer.json(),
  retryAfter: answer.headers["retry-after"] as string | undefined,
});

/** How each refusal is provoked, by its name on the page. */
const provocations: Readonly<Record<string, (server: TestServer, key: string, feeder: string) => Promise<Met>>> = {
  notJson: (server, key) => postReport(server, `Bearer ${key}`, '{"boot":'),
  unreadable: (server, key) => postReport(server, `Bearer ${key}`, JSON.stringify({ boot: "b 7", sentUptimeMs: -5 })),
  unknownSender: (server) => postReport(server, "Bearer pw_wrong", plain()),
  otherFeeder: (server, key) => postReport(server, `Bearer ${key}`, plain({ feeder: "larch-8b1d02" })),
  async unknownFeeder(server, key, feeder) {
    await postReport(server, `Bearer ${key}`, plain()); // the server remembers the key
    await server.connections.write((sql) => sql.$executeRawUnsafe('UPDATE "Feeder" SET "id" = ?', `${feeder}-gone`));
    return postReport(server, `Bearer ${key}`, plain());
  },
  wrongAddress: (server, key) => postReport(server, `Bearer ${key}`, plain(), json, "/api/v1/reports"),
  tooSlow: (server, key) => bare(server, `${head(key)}Content-Length: 1000\r\n\r\n{"boot":"b-1",`), // and never the rest
  notHttp: (server) => bare(server, "HELLO\r\n\r\n"),
  headersTooLarge: (server, key) => bare(server, `${head(key)}X-Much: ${"x".repeat(17_000)}\r\n\r\n`),
  async bootUnclear(server, key) {
    await postReport(server, `Bearer ${key}`, plain({ sentUptimeMs: 18_000_000 }));
    return postReport(server, `Bearer ${key}`, plain({ sentUptimeMs: 9_000_000 }));
  },
  tooManyEvents(server, key) {
    const events = Array.from({ length: 2_001 }, (_, index) => press(index + 1));
    return postReport(server, `Bearer ${key}`, plain({ events }));
  },
  tooManyBytes: (server, key) => postReport(server, `Bearer ${key}`, plain({ padding: "x".repeat(1_048_576) })),
  contentType: (server, key) => postReport(server, `Bearer ${key}`, plain(), "application/cbor"),
  noSocket: async (server, key) =>
    metIn(await server.app.inject({ url: "/api/v1/link", headers: { authorization: `Bearer ${key}` } })),
  async tooOften(server, key) {
    for (let count = 0; count < 5; count += 1) await postReport(server, `Bearer ${key}`, plain());
    return postReport(server, `Bearer ${key}`, plain());
  },
  async tooManyWrongKeys(server) {
    for (let count = 0; count < 60; count += 1) await postReport(server, `Bearer pw_wrong${count}`, plain());
    return postReport(server, "Bearer pw_wrong", plain());
  },
  async tooManyLinks(server, key) {
    const headers = { authorization: `Bearer ${key}` };
    for (let count = 0; count < 30; count += 1) await server.app.inject({ url: "/api/v1/link", headers });
    return metIn(await server.app.inject({ url: "/api/v1/link", headers }));
  },
  async usedSignature(server, key, feeder) {
    const time = String(Math.floor(server.clock.now() / 1_000));
    const mac = signatureOf(hashOf(key), time, "");
    const headers = { authorization: `Signature feeder="${feeder}", time="${time}", mac="${mac}"` };
    await server.app.inject({ url: "/api/v1/link", headers });
    return metIn(await server.app.inject({ url: "/api/v1/link", headers }));
  },
  async overloaded(server, key) {
    await postReport(server, `Bearer ${key}`, plain()); // a socket is open by then
    server.setEventLoopDelay(3_001);
    await postReport(server, `Bearer ${key}`, plain({ sentUptimeMs: 2_000 }));
    server.clock.advance(seconds(2));
    const met = await postReport(server, `Bearer ${key}`, plain({ sentUptimeMs: 4_000 }));
    server.setEventLoopDelay(0);
    return met;
  },
  async bug(server, key) {
    await postReport(server, `Bearer ${key}`, plain());
    await server.connections.write((sql) => sql.$executeRawUnsafe('ALTER TABLE "LogLine" RENAME TO "Gone"'));
    return postReport(server, `Bearer ${key}`, plain({ sentUptimeMs: 2_000 }));
  },
  async storeBusy(server, key) {
    const other = new Database(server.databaseFile);
    other.exec("BEGIN IMMEDIATE");
    const met = await postReport(server, `Bearer ${key}`, plain());
    other.exec("ROLLBACK");
    other.close();
    return met;
  },
  storeFull(server, key) {
    server.connections.direct.pragma("max_page_count = 1"); // as SQLite sees a full disk: no page more than there are
    const events = Array.from({ length: 2_000 }, (_, index) => press(index + 1));
    return postReport(server, `Bearer ${key}`, plain({ events }));
  },
  storeReadOnly(server, key) {
    server.connections.direct.pragma("query_only = ON"); // answers each writing as a file without the right to write does
    return postReport(server, `Bearer ${key}`, plain());
  },
  storeDamaged(server, key) {
    server.store.condition.recordDamage({ kind: "damaged", foundAt: server.clock.now(), problem: "as planted" });
    return postReport(server, `Bearer ${key}`, plain());
  },
};

/** What a server answers to these bytes, once it has closed the connection. */
async function bare(server: TestServer, bytes: string): Promise<Met> {
  await server.app.listen({ port: 0, host: "127.0.0.1" });
  const socket = connect((server.app.server.address() as AddressInfo).port, "127.0.0.1");
  socket.write(bytes);
  let answer = "";
  socket.on("data", (chunk) => {
    answer += chunk;
  });
  await new Promise((resolve) => socket.on("close", resolve));
  const type = answer.match(/content-type: (.+)\r/i)?.[1] ?? "";
  const problem = JSON.parse(answer.split("\r\n\r\n")[1] ?? "");
  return { status: Number(answer.split(" ")[1]), type, problem, retryAfter: undefined };
}

const head = (key: string) =>
  `POST ${report} HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer ${key}\r\nContent-Type: ${json}\r\n`;

const openLimitedServer = () => openTestServer({ reportsPerMinute: 5, requestTimeoutMilliseconds: 500 });

describe("every refusal on the page", () => {
  it.each(Object.keys(provocations))("%s is answered as the page shows it", async (name) => {
    const server = await openLimitedServer();
    const { key, feeder } = await server.addFeeder();
    const shown = (await documentedPage(server)).refusals.find((one) => one.name === name);
    expect(shown, `${name} is on the page`).toBeDefined();
    const met = await (provocations[name] as (typeof provocations)[string])(server, key, feeder.id);
    expect(met.type).toContain("application/problem+json");
    expect(met.problem).toEqual(withWhatDiffers(shown?.problem ?? {}, feeder.id));
    expect(met.status).toBe(shown?.status);
    const { html } = await documentedPage(server);
    const entry = html.slice(html.indexOf(`data-refusal="${name}"`)).split("</article>")[0] ?? "";
    expect(entry.includes("Retry-After:"), "the page says Retry-After where it is sent").toBe(
      met.retryAfter !== undefined,
    );
  });

  it("is provoked above", async () => {
    const { refusals } = await documentedPage(await openLimitedServer());
    expect(refusals.map(({ name }) => name).sort()).toEqual(Object.keys(provocations).sort());
  });

  it("is given on a socket too, where the page states it", async () => {
    const onSockets = [
      "notJson",
      "unreadable",
      "otherFeeder",
      "unknownFeeder",
      "bootUnclear",
      "tooManyEvents",
      "tooOften",
      "overloaded",
      "bug",
      "storeBusy",
      "storeFull",
      "storeReadOnly",
      "storeDamaged",
    ];
    const { refusals } = await documentedPage(await openLimitedServer());
    expect(
      refusals
        .filter(({ at }) => at === "both")
        .map(({ name }) => name)
        .sort(),
    ).toEqual([...onSockets, "unknownSender"].sort());
    for (const name of onSockets) {
      const server = await openLimitedServer();
      const { key, feeder } = await server.addFeeder();
      await server.app.listen({ port: 0, host: "127.0.0.1" });
      const onSocket = overSocket(server, key);
      const met = await (provocations[name] as (typeof provocations)[string])(onSocket.server, key, feeder.id);
      onSocket.close();
      const shown = refusals.find((one) => one.name === name);
      expect([name, met.status, (met.problem as { title: string }).title]).toEqual([
        name,
        shown?.status,
        shown?.problem.title,
      ]);
    }
  }, 60_000);
});

/** The example's feeder id is invented, and a rate limit counts down its seconds. */
function withWhatDiffers(problem: Record<string, unknown>, feeder: string): unknown {
  return JSON.parse(JSON.stringify(problem).replaceAll("rowan-4f2a9c", feeder));
}

/** The same server, its reports posted over one socket. Whatever is no report still goes over HTTP. */
function overSocket(server: TestServer, key: string) {
  const { port } = server.app.server.address() as AddressInfo;
  const socket = new WebSocket(`ws://127.0.0.1:${port}/api/v1/link`, { headers: { authorization: `Bearer ${key}` } });
  const open = new Promise((resolve) => socket.once("open", resolve));
  const inject = async ({ payload }: { payload: string }) => {
    await open;
    const reply = new Promise<string>((resolve) => socket.once("message", (data) => resolve(String(data))));
    socket.send(payload);
    const frame = JSON.parse(await reply) as { problem?: { status: number } };
    const headers = { "content-type": "application/problem+json" };
    return { statusCode: frame.problem?.status ?? 200, headers, json: () => frame.problem ?? {} };
  };
  return {
    server: { ...server, app: { ...server.app, inject } } as unknown as TestServer,
    close: () => socket.terminate(),
  };
}

// --- what the routes can refuse is on the page ------------------------------------------------------------------------

const sources = ["problems", "feederApi", "feederLink", "feederIdentity", "ingestReport", "overload"].map(
  (name) => `server/routes/${name}.ts`,
);
const source = (path: string) => readFileSync(join(projectFolder, path), "utf8");

/** The statuses in these sources that are not on the page. */
function undocumentedStatuses(page: DocumentedPage, sources: readonly string[]): string[] {
  const text = sources.join("\n");
  const documented = new Set(page.refusals.map(({ status }) => status));
  const statuses = [...text.matchAll(/\bstatus: (\d{3})\b|\? (\d{3}) :/g)].map(([, one, other]) =>
    Number(one ?? other),
  );
  const outcomes = [...text.matchAll(/^ {4}case "(\w+)":/gm)].map(([, kind]) => kind ?? "");
  const names = new Set(page.refusals.map(({ name }) => name).flatMap((name) => [name, outcomeNames[name] ?? name]));
  return [
    ...statuses
      .filter((status) => !documented.has(status) && !page.html.includes(`data-keeper-status="${status}"`))
      .map(String),
    ...outcomes.filter((kind) => !names.has(kind)),
  ];
}
const outcomeNames: Readonly<Record<string, string>> = { tooManyEvents: "tooMany" };

describe("every refusal of the feeders' routes", () => {
  it("is on the page", async () => {
    const page = await documentedPage(await openLimitedServer());
    expect(undocumentedStatuses(page, sources.map(source))).toEqual([]);
  });

  it("would be reported missing if it were new", async () => {
    const page = await documentedPage(await openLimitedServer());
    expect(undocumentedStatuses(page, ['const gone: Problem = { status: 410, detail: "Gone." };'])).toEqual(["410"]);
    expect(undocumentedStatuses(page, ['  switch (outcome.kind) {\n    case "tooCold":\n      return 1;\n'])).toEqual([
      "tooCold",
    ]);
    expect(undocumentedStatuses(page, ["const status = error instanceof Teapot ? 418 : 500;"])).toEqual(["418"]);
  });

  it("of a key or a signature is on the page with its reason, and provoked", async () => {
    const server = await openLimitedServer();
    const { key, feeder } = await server.addFeeder();
    const { html } = await documentedPage(server);
    const listed = html.match(/<ul class="reasons">([\s\S]*?)<\/ul>/)?.[1] ?? "";
    const reasons = [...listed.matchAll(/<li>(.*?)<\/li>/g)].map(([, reason]) => reason?.replaceAll("&#39;", "'"));
    const time = Math.floor(server.clock.now() / 1_000);
    const headers = [
      "",
      "Basic abc",
      "Bearer pw_wrong",
      "Signature x",
      `Signature feeder="${feeder.id}", time="${time - 301}", mac="x"`,
      `Signature feeder="${feeder.id}", nonce="${time}", mac="x"`,
      `Signature feeder="${feeder.id}", time="${time}", mac="x"`,
    ];
    const met = [];
    for (const authorization of headers) {
      const { problem } = await postReport(server, authorization, plain());
      met.push((problem as { errors: { problem: string }[] }).errors[0]?.problem);
    }
    expect(met).toEqual(reasons);
    expect((await postReport(server, `Bearer ${key}`, plain())).status).toBe(200);

    const inCode = Object.values(texts.feederKeys).map((text) => (typeof text === "string" ? text : text("Basic")));
    expect([...reasons].sort()).toEqual(inCode.sort());
  });
});
