import Database from "better-sqlite3";
import type { FastifyInstance, RouteOptions } from "fastify";
import { onTestFinished } from "vitest";
import { type InviteView, type PeopleView, type Role, roles, type SessionsView } from "../../../server/contract/api.ts";
import { reportExample } from "../../../server/contract/reportExample.ts";
import { instant } from "../../../server/domain/instant.ts";
import { hashOf } from "../../../server/flows/feederKeys.ts";
import { addPhone, requestAs } from "../../support/people.ts";
import type { TestServer } from "../../support/testServer.ts";
import { openTestServerWithRoutes } from "../../support/testServerWithRoutes.ts";

/** Two yards with nothing in common, every kind of caller, and every route of the server. */

type Headers = Record<string, string>;
export type RouteIds = Readonly<Record<string, string>>;

export interface Caller {
  readonly name: string;
  readonly headers: Headers;
  readonly id: string | null; // null: no person
  /** `exportKey`: of a keeper of the yard. `role`: in the yard whose ids are in the request. `keeperElsewhere`: of the other yard. `signedIn`: of no yard. */
  readonly is:
    | "nobody"
    | "otherSite"
    | "signedIn"
    | "keeperElsewhere"
    | "feeder"
    | "exportKey"
    | { readonly role: Role };
}

export interface RightsFixture {
  readonly server: TestServer;
  readonly routes: readonly RouteOptions[];
  readonly callers: readonly Caller[];
  readonly ours: RouteIds;
  readonly theirs: RouteIds;
  /** Text that only people of the yard may get. */
  readonly ourMarks: readonly string[];
  readonly theirMarks: readonly string[];
  readonly ourKey: string;
  readonly theirKey: string;
  join(role: Role): Promise<{ readonly id: string; readonly headers: Headers }>;
  newFeeder(): Promise<string>;
  newYard(keeper: Headers): Promise<string>;
  /** The id by which it is withdrawn. */
  newInvite(): Promise<string>;
  /** All rows of all tables, by table. */
  dump(): ReadonlyMap<string, string>;
}

const cookie = (value: string): Headers => ({ cookie: `pieward_session=${value}`, "x-pieward": "1" });
const bearer = (secret: string): Headers => ({ authorization: `Bearer ${secret}`, "x-pieward": "1" });

export async function openRightsFixture(
  plant: (app: FastifyInstance) => void = () => undefined,
): Promise<RightsFixture> {
  const { server, routes } = await openTestServerWithRoutes(plant);
  let joined = 0;
  const join = async (role: Role) => {
    joined += 1;
    const invite = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, { role });
    const { token } = invite.json() as InviteView;
    const body = { token, name: `Ada number ${joined}`, passphrase: "rooks sit on wet gates" };
    const remoteAddress = `10.1.0.${joined}`;
    const answer = await server.app.inject({ method: "POST", url: "/api/v1/join", payload: body, remoteAddress });
    if (answer.statusCode !== 200) throw new Error(`expected somebody to join, got ${answer.body}`);
    const headers = cookie(String(answer.headers["set-cookie"]).match(/=([^;]*)/)?.[1] ?? "");
    return { id: (await requestAs(server, "GET", "/api/v1/me", headers)).json().id as string, headers };
  };

  const people = new Map<Role, { readonly id: string; readonly headers: Headers }>();
  for (const role of roles) people.set(role, await join(role));
  const [cilla, removed, ended] = [await join("helper"), await join("helper"), await join("helper")];
  const yardless = await join("helper");

  const yard = (await server.store.yards.yards())[0];
  await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { name: "Alder Croft, the orchard" });
  await server.store.yards.addYard(
    { ...yard, id: "north-croft", name: "Alder Croft, the north bank" } as never,
    cilla.id,
    server.clock.now(),
  );
  const newYard = async (keeper: Headers) => {
    joined += 1;
    const id = `yard-${joined}`;
    const person = (await requestAs(server, "GET", "/api/v1/me", keeper)).json().id as string;
    await server.store.yards.addYard(
      { ...yard, id, name: "Alder Croft for once" } as never,
      person,
      server.clock.now(),
    );
    return id;
  };
  const own = await newYard(yardless.headers);
  for (const { id } of [cilla, removed, yardless])
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${id}`, server.keeper);

  await requestAs(server, "POST", `/api/v1/yards/${own}/remove`, yardless.headers, { name: "Alder Croft for once" });

  const ours = await fillYard(server, server.yard, "Rowan in the orchard", server.keeper, "ours");
  const theirs = await fillYard(server, "north-croft", "Larch on the north bank", cilla.headers, "theirs");
  await requestAs(server, "DELETE", "/api/v1/session", ended.headers);

  const revoked = await server.addFeeder({ name: "Rowan in the shed" });
  await requestAs(server, "POST", `/api/v1/feeders/${revoked.feeder.id}/key`, server.keeper);
  const invite = async () =>
    (await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, { role: "keeper" })).json()
      .token as string;
  const token = await invite();
  const openInvites = async () =>
    ((await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, server.keeper)).json() as PeopleView)
      .invites;
  const signed = server.keeper.cookie?.split("=").slice(1).join("=") ?? "";
  const raw = decodeURIComponent(signed).replace(/\.[^.]*$/, "");

  const callers: Caller[] = [
    { name: "nobody", headers: { "x-pieward": "1" }, id: null, is: "nobody" },
    {
      name: "another site's page with a keeper's cookie",
      headers: { cookie: `pieward_session=${signed}` },
      id: null,
      is: "otherSite",
    },
    { name: "a keeper of another yard", ...cilla, is: "keeperElsewhere" },
    ...[...people].map(([role, one]) => ({ name: `a ${role} of the yard`, ...one, is: { role } })),
    { name: "somebody without a yard", ...yardless, is: "signedIn" },
    { name: "a removed person", headers: removed.headers, id: null, is: "nobody" },
    { name: "an ended session", headers: ended.headers, id: null, is: "nobody" },
    { name: "a session's token without our signature", headers: cookie(raw), id: null, is: "nobody" },
    {
      name: "a session's token with a forged signature",
      headers: cookie(`${raw}.${"A".repeat(43)}`),
      id: null,
      is: "nobody",
    },
    { name: "a feeder with its key", headers: bearer(ours.key), id: null, is: "feeder" },
    { name: "another yard's feeder", headers: bearer(theirs.key), id: null, is: "feeder" },
    { name: "an export key of a keeper", headers: bearer(ours.secret), id: null, is: "exportKey" },
    { name: "an export key as a cookie", headers: cookie(ours.secret), id: null, is: "nobody" },
    { name: "a revoked key", headers: bearer(revoked.key), id: null, is: "nobody" },
    { name: "a feeder's key as a cookie", headers: cookie(ours.key), id: null, is: "nobody" },
    { name: "an invite's token as a key", headers: bearer(token), id: null, is: "nobody" },
    { name: "an invite's token as a cookie", headers: cookie(token), id: null, is: "nobody" },
  ];
  const known = { fault: "foodLow", item: "no-such-notification", token: "no-such-token".repeat(4) };
  const marksOf = ({ key, ...ids }: Awaited<ReturnType<typeof fillYard>>) => [key, ...Object.values(ids)];
  return {
    server,
    routes,
    callers,
    ours: {
      ...known,
      ...ours,
      invite: (await openInvites())[0]?.id ?? "",
      change: "no-such-change",
      note: "no-such-note",
      still: "no-such-still",
      picture: "no-such-picture",
      person: people.get("helper")?.id ?? "",
      yard: server.yard,
    },
    theirs: {
      ...known,
      ...theirs,
      invite: "no-such-invite",
      change: "no-such-change",
      still: "no-such-still",
      note: "no-such-note",
      picture: "no-such-picture",
      person: cilla.id,
      yard: "north-croft",
    },
    ourMarks: [
      ...marksOf(ours),
      ...[...people.values()].map(({ id }) => id),
      server.yard,
      "the orchard",
      "in the shed",
      revoked.feeder.id,
    ],
    theirMarks: [...marksOf(theirs), "north-croft", "north bank"],
    ourKey: ours.key,
    theirKey: theirs.key,
    join,
    newFeeder: async () => (await server.addFeeder({ name: "Rowan for once" })).feeder.id,
    newYard,
    newInvite: async () => {
      await invite();
      return (await openInvites()).at(-1)?.id ?? "";
    },
    dump: dumper(server.databaseFile),
  };
}

/** A feeder with a record, a phone, an address, a refill and a pause: something of everything that could be seen or changed. */
async function fillYard(server: TestServer, yard: string, name: string, keeper: Headers, mark: string) {
  const added = await requestAs(server, "POST", "/api/v1/feeders", keeper, { yard, name, battery: "leadAcid" });
  if (added.statusCode !== 201) throw new Error(`expected a feeder at ${yard}, got ${added.body}`);
  const { feeder, key } = added.json() as { feeder: { id: string }; key: string };
  const { boot, ...report } = reportExample;
  await server.report(key, { ...report, boot: `boot-${mark}` });
  await addPhone(server, keeper, `phone-${mark}`);
  await requestAs(server, "PATCH", "/api/v1/me", keeper, { email: `${mark}@example.org` });
  const to = `/api/v1/feeders/${feeder.id}`;
  await requestAs(server, "POST", `${to}/refills`, keeper, { id: `refill-${mark}`, what: { kind: "filled" } });
  await requestAs(server, "POST", `${to}/orders`, keeper, { id: `pause-${mark}`, kind: "pause" });
  const endpoint = `https://push.example/phone-${mark}`;
  const person = (await requestAs(server, "GET", "/api/v1/me", keeper)).json().id as string;
  const passkey = `passkey-${mark}`;
  await server.store.keepers.addPasskey({ ...passkeyRow, id: passkey, keeper: person, credentialId: passkey }, 10);
  const { sessions } = (await requestAs(server, "GET", "/api/v1/me/sessions", keeper)).json() as SessionsView;
  const secret = `pw_read_${mark.padEnd(43, "x")}`;
  const exportKey = `export-key-${mark}`;
  await server.store.accounts.addExportKey({ ...exportKeyRow, id: exportKey, person, keyHash: hashOf(secret) }, 10);
  return {
    exportKey,
    secret,
    session: sessions[0]?.id ?? "",
    passkey,
    feeder: feeder.id,
    key,
    endpoint,
    email: `${mark}@example.org`,
    order: `pause-${mark}`,
    boot: `boot-${mark}`,
  };
}

const exportKeyRow = {
  ...{ name: "Table", createdAt: instant(0), lastUsedAt: null },
  expiresAt: instant(Date.UTC(2126, 0, 1)),
};

const passkeyRow = {
  ...{ publicKey: "AAAA", counter: 0, transports: [], label: "Phone", synced: false },
  ...{ createdAt: instant(0), lastUsedAt: null },
};

function dumper(file: string): () => ReadonlyMap<string, string> {
  const database = new Database(file, { readonly: true });
  onTestFinished(() => void database.close());
  let [version, rows]: [unknown, ReadonlyMap<string, string>] = [null, new Map()];
  return () => {
    // It changes with each commit of another connection (sqlite.org/pragma.html#pragma_data_version).
    const now = database.pragma("data_version", { simple: true });
    if (now !== version) [version, rows] = [now, allRows(database)];
    return rows;
  };
}

function allRows(database: Database.Database): ReadonlyMap<string, string> {
  const tables = database.prepare("SELECT name FROM sqlite_master WHERE type = 'table'").pluck().all() as string[];
  // The number of commits is no data of anybody.
  const all = (table: string) => `SELECT * FROM "${table}"${table === "FeederHead" ? ' WHERE "feederNo" > 0' : ""}`;
  const rowsOf = (table: string) => (database.prepare(all(table)).raw().all() as unknown[]).map(asText);
  return new Map(tables.map((table) => [table, rowsOf(table).sort().join("\n")]));
}
const asText = (row: unknown) => JSON.stringify(row, (_, value) => (typeof value === "bigint" ? String(value) : value));

/** @returns the names of the tables in which something differs. */
export const changedTables = (before: ReadonlyMap<string, string>, now: ReadonlyMap<string, string>): string[] =>
  [...now].filter(([table, rows]) => before.get(table) !== rows).map(([table]) => table);
