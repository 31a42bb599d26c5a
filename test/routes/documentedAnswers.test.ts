import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { z } from "zod";
import { reportExample } from "../../server/contract/reportExample.ts";
import { benchExample } from "../support/benchExample.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { projectFolder } from "../support/imports.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { jpegPicture } from "../support/pictures.ts";
import { programmeChangeExample } from "../support/programmeChangeExample.ts";
import { recordExample } from "../support/recordExample.ts";
import { openTestServer } from "../support/testServer.ts";
import { viewSchemas } from "../support/viewSchemas.ts";

/** What keepers' routes answer is documented from the types that they answer with. */

describe("the schemas of answers", () => {
  // They are a file, since the server runs without the compiler. After a change in api.ts: npx vitest run <this file> -u
  it("are those that the types in server/contract/api.ts have now", async () => {
    const files = [
      "api",
      "accountViews",
      "comparisonView",
      "dayView",
      "historyView",
      "portionsView",
      "planView",
      "benchView",
      "trainingView",
      "stillView",
      "reportView",
    ].map((name) => join(projectFolder, `server/contract/${name}.ts`));
    const schemas = viewSchemas(files);
    await expect(`${JSON.stringify(schemas, null, 1)}\n`).toMatchFileSnapshot(
      "../../server/routes/documentation/generated/views.json",
    );
  }, 60_000);
});

type Headers = Record<string, string>;
interface Documented {
  readonly summary?: string;
  readonly "x-who-may": string;
  readonly responses: Record<
    string,
    { readonly content?: { readonly "application/json": { readonly schema: object } } }
  >;
}

/** A request for each of the keeper's routes that succeeds, in an order in which none spoils the next. Fields of a GET are in its address. */
const requests: readonly (readonly [route: string, body?: object])[] = [
  ["GET /api/v1/session"],
  ["GET /api/v1/me"],
  ["PATCH /api/v1/me", { email: "ada@example.org" }],
  ["POST /api/v1/me/email/test"],
  ["GET /api/v1/me/passkeys"],
  ["GET /api/v1/me/export-keys"],
  ["POST /api/v1/me/export-keys", { name: "My table", days: 365, passphrase: "birds before breakfast" }],
  ["GET /api/v1/phones"],
  [
    "POST /api/v1/phones",
    { endpoint: "https://push.example/1", keys: { p256dh: "B".repeat(87), auth: "a".repeat(22) } },
  ],
  [
    "PUT /api/v1/phones",
    {
      replaces: "https://push.example/1",
      endpoint: "https://push.example/2",
      keys: { p256dh: "B".repeat(87), auth: "a".repeat(22) },
    },
  ],
  ["POST /api/v1/phones/permission", { endpoint: "https://push.example/2", allowed: true }],
  ["POST /api/v1/phones/test"],
  ["GET /api/v1/home"],
  ["PATCH /api/v1/yards/:yard", { name: "Alder Croft" }],
  ["GET /api/v1/yards/:yard/alarm-rates"],
  ["GET /api/v1/yards/:yard/people"],
  ["PATCH /api/v1/yards/:yard/people/:person", { urgentBreaks: true }],
  ["POST /api/v1/yards/:yard/invites", { role: "helper" }],
  ["DELETE /api/v1/yards/:yard/invites/:invite"],
  ["POST /api/v1/yards", { name: "Larch Field", zone: "Europe/Stockholm" }],
  ["GET /api/v1/me/sessions"],
  ["DELETE /api/v1/me/sessions"],
  ["POST /api/v1/me/passphrase", { old: "birds before breakfast", passphrase: "seven quiet winters outside" }],
  ["POST /api/v1/feeders", { yard: ":yard", name: "Larch" }],
  ["GET /api/v1/feeders/:feeder"],
  ["PATCH /api/v1/feeders/:feeder", { warnAheadDays: 3, feeding: feedingExample }],
  ["POST /api/v1/feeders/:feeder/settings/comparison", { settings: { warnAheadDays: 4 } }],
  ["GET /api/v1/feeders/:feeder/day"],
  ["GET /api/v1/feeders/:feeder/log"],
  ["GET /api/v1/feeders/:feeder/history", { from: "2026-01-15T00:00:00Z", to: "2026-01-16T00:00:00Z" }],
  ["GET /api/v1/feeders/:feeder/portions", { from: "2026-01-15T00:00:00Z", to: "2026-01-16T00:00:00Z" }],
  ["GET /api/v1/feeders/:feeder/plan"],
  ["POST /api/v1/feeders/:feeder/plan/preview", feedingExample],
  ["POST /api/v1/feeders/:feeder/plan/ration", { birds: [{ species: "magpie", count: 2 }], food: "peanutHalves" }],
  ["POST /api/v1/feeders/:feeder/bench", benchExample],
  ["GET /api/v1/feeders/:feeder/bench"],
  ["POST /api/v1/feeders/:feeder/refills", { id: "refill-0001", what: { kind: "filled" } }],
  ["POST /api/v1/feeders/:feeder/cleaned"],
  ["POST /api/v1/feeders/:feeder/orders", { id: "pause-0001", kind: "pause" }],
  ["POST /api/v1/yards/:yard/orders", { id: "resume-0001", kind: "resume" }],
  ["POST /api/v1/yards/:yard/disease-notice", { id: "notice-0001", inForce: true }],
  ["POST /api/v1/yards/:yard/notes", { id: "note-0001", text: "a jay" }],
  ["GET /api/v1/yards/:yard/notes"],
  ["PATCH /api/v1/yards/:yard/notes/:note", { text: "two jays" }],
  ["POST /api/v1/yards/:yard/notes/:note/photos", await jpegPicture()],
  ["GET /api/v1/yards/:yard/pictures/:picture"],
  ["DELETE /api/v1/yards/:yard/pictures/:picture"],
  ["DELETE /api/v1/yards/:yard/notes/:note"],
  ["GET /api/v1/yards/:yard/stills"],
  ["GET /api/v1/yards/:yard/stills/:still/picture"],
  ["PATCH /api/v1/yards/:yard/stills/:still", { who: "a jay", brought: null }],
  ["DELETE /api/v1/yards/:yard/stills/:still"],
  ["POST /api/v1/yards/:yard/training/changes", programmeChangeExample],
  ["GET /api/v1/yards/:yard/training"],
  ["GET /api/v1/yards/:yard/training/report"],
  ["GET /api/v1/yards/:yard/training/export/dictionary"],
  ["POST /api/v1/yards/:yard/training/import", Buffer.from(recordExample)],
  ["POST /api/v1/yards/:yard/training/changes/:change/undo"],
  ["POST /api/v1/feeders/:feeder/alarms/:fault/acknowledge"],
  ["POST /api/v1/feeders/:feeder/alarms/:fault/reset"],
  ["POST /api/v1/feeders/:feeder/alarms/:fault/shelve", { until: "2026-01-16T09:00:00Z" }],
  ["POST /api/v1/feeders/:feeder/alarms/:fault/out-of-service", { reason: "the winter is over" }],
  ["POST /api/v1/feeders/:feeder/alarms/:fault/return-to-service"],
  ["POST /api/v1/feeders/:feeder/key"],
  ["POST /api/v1/phones/forget", { endpoint: "https://push.example/2" }],
  ["DELETE /api/v1/feeders/:feeder"],
  ["POST /api/v1/practice"],
  ["POST /api/v1/practice/programme", { do: "start" }],
  ["DELETE /api/v1/practice"],
  ["POST /api/v1/yards/:yard/remove", { name: "Alder Croft" }],
  ["DELETE /api/v1/session"],
];
/** What needs a state of its own is tested elsewhere: sign-in and joining, practice faults, digests, receipts, the live feed. */
const testedElsewhere: readonly string[] = [
  "POST /api/v1/first-sign-in",
  "POST /api/v1/session",
  "POST /api/v1/join",
  "POST /api/v1/reset",
  "POST /api/v1/me/remove",
  "DELETE /api/v1/me/sessions/:session",
  "POST /api/v1/practice/fault",
  "GET /api/v1/yards/:yard/training/export",
  "GET /api/v1/yards/:yard/training/export/archive",
  "GET /api/v1/yards/:yard/digest",
  "DELETE /api/v1/me/export-keys/:exportKey",
  "POST /api/v1/session/passkey/options",
  "POST /api/v1/session/passkey",
  "POST /api/v1/me/passkeys/options",
  "POST /api/v1/me/passkeys",
  "PATCH /api/v1/me/passkeys/:passkey",
  "DELETE /api/v1/me/passkeys/:passkey",
  "POST /api/v1/me/confirm/options",
  "POST /api/v1/me/confirm",
  "POST /api/v1/notifications/:item/display-receipt",
  "DELETE /api/v1/yards/:yard/people/:person",
  "GET /api/v1/live",
];

async function openRoutes() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  await server.report(key, reportExample);
  const stillOf = `/api/v1/stills?boot=${reportExample.boot}&seq=413`;
  await requestAs(
    server,
    "POST",
    stillOf,
    { authorization: `Bearer ${key}`, "content-type": "image/jpeg" },
    await jpegPicture(),
  );
  const paths = (await server.app.inject({ url: "/api/docs/json" })).json().paths as Record<
    string,
    Record<string, Documented>
  >;
  const routes = new Map<string, Documented>();
  for (const [path, methods] of Object.entries(paths)) {
    for (const [method, documented] of Object.entries(methods)) {
      routes.set(`${method.toUpperCase()} ${path.replace(/\{(\w+)\}/g, ":$1")}`, documented);
    }
  }
  for (const own of ["POST /api/v1/report", "POST /api/v1/stills", "GET /api/v1/link", "GET /api/v1/health"])
    routes.delete(own);
  const person = (await requestAs(server, "GET", "/api/v1/me", server.keeper)).json().id as string;
  const named: Headers = {
    yard: server.yard,
    feeder: feeder.id,
    fault: "foodLow",
    person,
    change: "change-0001",
    note: "note-0001",
  };
  const openInvite = async () => {
    const { invites } = (await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, server.keeper)).json();
    return (invites[0]?.id as string | undefined) ?? "none";
  };
  const send = async (route: string, headers: Headers, body?: object) => {
    const [method, path = ""] = route.split(" ") as ["GET", string];
    if (path.includes(":invite")) named.invite = await openInvite();
    if (path.includes(":still")) named.still = (await server.store.stills.allStills())[0]?.id ?? "none";
    if (path.includes(":picture")) named.picture = (await server.store.pictures.allPictures())[0]?.id ?? "none";
    const payload = body && "yard" in body ? { ...body, yard: server.yard } : body;
    const url = path.replace(/:(\w+)/g, (_, name: string) => named[name] ?? name);
    return method === "GET"
      ? requestAs(server, method, `${url}?${new URLSearchParams(body as Headers)}`, headers)
      : requestAs(server, method, url, headers, payload);
  };
  return { server, routes, send };
}

describe("each of the keeper's routes", () => {
  it("is documented with its purpose, who may use it, and what it answers", async () => {
    const { routes } = await openRoutes();
    expect([...routes.keys()].sort()).toEqual([...requests.map(([route]) => route), ...testedElsewhere].sort());
    for (const [route, { summary, responses }] of routes) {
      expect([route, summary, Object.keys(responses)]).toEqual([
        route,
        expect.stringMatching(/\w/),
        [expect.any(String)],
      ]);
    }
  });

  it("answers with the documented status and shape", async () => {
    const { server, routes, send } = await openRoutes();
    for (const [route, body] of requests) {
      const answer = await send(route, server.keeper, body);
      const [[status, documented] = []] = Object.entries(routes.get(route)?.responses ?? {});
      expect([route, String(answer.statusCode)]).toEqual([route, status]);
      const schema = documented?.content?.["application/json"].schema;
      if (schema === undefined) continue;
      const read = z.fromJSONSchema(schema as never).safeParse(answer.json());
      expect([route, read.error?.issues ?? []]).toEqual([route, []]);
    }
  });

  it("is open to those that the page names, and to nobody else", async () => {
    const { server, routes, send } = await openRoutes();
    const bo = await joinByInvite(server, "Bo", "helper");
    for (const [route, body] of requests.filter(([one]) => !one.endsWith("/session"))) {
      const who = routes.get(route)?.["x-who-may"] ?? "";
      expect([route, (await send(route, { "x-pieward": "1" }, body)).statusCode]).toEqual([route, 401]);
      const helper = (await send(route, bo, body)).statusCode;
      const shut = /^(keepers of|a keeper of)/.test(who);
      if (shut) expect([route, who, helper]).toEqual([route, who, 403]);
      else expect([route, who, helper]).not.toEqual([route, who, 403]);
    }
  });
});
