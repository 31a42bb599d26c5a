import { copyFileSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, describe, expect, inject, it } from "vitest";
import type { HomeView, InviteView, PeopleView, SessionsView } from "../../server/contract/api.ts";
import { minutes } from "../../server/domain/instant.ts";
import { makeReset } from "../../server/flows/accounts.ts";
import { advanceDueEscalations, startMissingEscalations } from "../../server/flows/escalations.ts";
import { feederKeys } from "../../server/flows/feederKeys.ts";
import { resumePractice } from "../../server/flows/practice.ts";
import { openFirstSignIn } from "../../server/flows/signIn.ts";
import { jammed, sensors } from "../flows/jam.ts";
import { type CommitHooks, hookCommits } from "../support/commitHooks.ts";
import { copyDatabase } from "../support/migratedDatabase.ts";
import { addPhone, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import {
  type ManualClock,
  manualClock,
  openTestServer,
  openTestServerOn,
  type TestServer,
} from "../support/testServer.ts";
import {
  type ChangingRequest,
  changingRequests,
  deviceRoutes,
  idlePracticeGround,
  type Start,
} from "./changingRequests.ts";

/**
 * The process dies right after each commit of each act. What is read afterwards is the act, whole, or nothing of it; and who
 * had no answer asks again and gets what they asked for.
 */

type Headers = Record<string, string>;

/** A prepared database, and what its acts need to know. */
interface Prepared {
  readonly file: string;
  readonly clock: ManualClock;
  /** Two browsers of the keeper: one acts, the other looks what became of it. */
  readonly acting: Headers;
  readonly looking: Headers;
  readonly feederKey: string;
  readonly named: Readonly<Record<string, string>>;
}

const folder = mkdtempSync(join(tmpdir(), "pieward-acts-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const prepared = new Map<Start, Promise<Prepared>>();

function preparedFor(start: Start): Promise<Prepared> {
  const found = prepared.get(start) ?? prepare(start);
  prepared.set(start, found);
  return found;
}

async function prepare(start: Start): Promise<Prepared> {
  const file = join(folder, `${start}.db`);
  if (start === "unclaimed") {
    const fresh = copyDatabase(inject("migratedDatabase"));
    const server = await openTestServerOn(fresh.file, manualClock(), {}, {});
    const firstSignIn = (await openFirstSignIn(server.ports)) as string;
    keep(server, file);
    await server.close();
    rmSync(fresh.folder, { recursive: true });
    return { file, clock: server.clock, acting: {}, looking: {}, feederKey: "", named: { firstSignIn } };
  }
  const server = await openTestServer({ practice: idlePracticeGround() });
  const { acting, named, feederKey } = await lived(server);
  if (start === "practising") await requestAs(server, "POST", "/api/v1/practice", acting);
  keep(server, file);
  return { file, clock: server.clock, acting, looking: server.keeper, feederKey, named };
}

async function lived(server: TestServer) {
  await addPhone(server, server.keeper, "Pocket");
  await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: "keeper@alder-croft.example" });
  const bo = await joinByInvite(server, "Bo", "helper");
  const { feeder, key } = await server.addFeeder({ sensors });
  await server.addFeeder({ name: "Larch" });
  await server.report(key, jammed);
  await deliverAll(server);
  server.clock.advance(minutes(1));
  const invite = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, {
    role: "helper",
  });
  const person = (await requestAs(server, "GET", "/api/v1/me", bo)).json().id as string;
  const item = server.push.sent[0]?.item as string;
  const people = await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, server.keeper);
  const made = await makeReset(server.ports, "Keeper");
  if (made.kind !== "made") throw new Error("expected a link");
  const acting = await signedIn(server);
  const { sessions } = (await requestAs(server, "GET", "/api/v1/me/sessions", acting)).json() as SessionsView;
  return {
    acting,
    feederKey: key,
    named: {
      yard: server.yard,
      feeder: feeder.id,
      person,
      item,
      inviteToken: (invite.json() as InviteView).token,
      invite: (people.json() as PeopleView).invites[0]?.id ?? "",
      reset: made.token,
      session: sessions.find(({ here }) => !here)?.id ?? "",
    },
  };
}

async function signedIn(server: TestServer): Promise<Headers> {
  const said = { name: "Keeper", passphrase: "birds before breakfast" };
  const answer = await requestAs(server, "POST", "/api/v1/session", {}, said);
  return { cookie: String(answer.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
}

const keep = (server: TestServer, file: string) => server.connections.direct.prepare("VACUUM INTO ?").run(file);

interface Opened {
  readonly server: TestServer;
  readonly commits: CommitHooks;
}

let copies = 0;
async function open({ file, clock, looking }: Prepared): Promise<Opened> {
  copies += 1;
  const copy = join(folder, `${copies}.db`);
  copyFileSync(file, copy);
  return openAgain(copy, clock, looking);
}

/** As a server starts on it. */
async function openAgain(file: string, clock: ManualClock, looking: Headers): Promise<Opened> {
  const commits = hookCommits();
  const server = await openTestServerOn(
    file,
    clock,
    { around: commits.around, practice: idlePracticeGround() },
    looking,
  );
  await resumePractice(server.ports, feederKeys(server.ports.store.yards));
  await startMissingEscalations(server.ports);
  await advanceDueEscalations(server.ports);
  commits.begin(null);
  return { server, commits };
}

async function ask({ server }: Opened, { acting, feederKey, named }: Prepared, act: ChangingRequest): Promise<number> {
  const [method, path = ""] = act.route.split(" ") as ["GET", string];
  const headers = { stranger: {}, feeder: { authorization: `Bearer ${feederKey}` }, keeper: acting }[
    act.as ?? "keeper"
  ];
  const filled = (text: string) =>
    text.replace(
      /:(yard|feeder|person|inviteToken|invite|firstSignIn|item|reset|session)\b/g,
      (_, name) => named[name] as string,
    );
  const body = act.body && (JSON.parse(filled(JSON.stringify(act.body))) as object);
  let { statusCode } = await requestAs(server, method, filled(path), headers, body);
  // A machine that does much else makes the server refuse work for a while; nothing is done then.
  for (let tries = 0; statusCode === 503 && tries < 20; tries += 1) {
    statusCode = (await requestAs(server, method, filled(path), headers, body)).statusCode;
  }
  if (act.andThen) await requestAs(server, method, filled(path), headers, act.andThen);
  return statusCode;
}

/** All that the routes show, with random names made alike. */
async function pictureOf(
  { server }: Opened,
  { acting, looking, feederKey }: Prepared,
  act: ChangingRequest,
): Promise<string> {
  const see = async (url: string, headers = looking) => (await server.app.inject({ url, headers })).body;
  const seen: Record<string, unknown> = {};
  seen.home = await see("/api/v1/home");
  const home = (JSON.parse(seen.home as string) as HomeView).yards ?? [];
  for (const { id, feeders } of home) {
    seen[`people of ${id}`] = await see(`/api/v1/yards/${id}/people`);
    for (const feeder of feeders) seen[`log of ${feeder.id}`] = await see(`/api/v1/feeders/${feeder.id}/log`);
  }
  seen.phones = await see("/api/v1/phones");
  seen.session = await see("/api/v1/session", acting);
  if (act.signsIn) {
    const answer = await requestAs(server, "POST", "/api/v1/session", {}, act.signsIn);
    const cookie = String(answer.headers["set-cookie"]).split(";")[0] as string;
    seen.newcomer = [answer.statusCode, await see("/api/v1/home", { cookie })];
  }
  if (act.changesKey) seen.oldKey = (await server.report(feederKey, { boot: "b-1", readings: {} })).status;
  return JSON.stringify(seen).replace(/[0-9a-f]{8}-[0-9a-f-]{27}|-[0-9a-f]{6}\b|\b[0-9a-f]{32}\b/g, "<random>");
}

const before = new Map<Start, Promise<string>>();

/** The same for all acts that start there, but for those whose picture shows more. */
function pictureBefore(start: Prepared, act: ChangingRequest): Promise<string> {
  const look = async () => pictureOf(await open(start), start, act);
  if (act.signsIn || act.changesKey) return look();
  const name = act.from ?? "usual";
  const found = before.get(name) ?? look();
  before.set(name, found);
  return found;
}

/** The act done and repeated in a process that lives: what it must come to. */
async function undisturbed(act: ChangingRequest) {
  const start = await preparedFor(act.from ?? "usual");
  const before = await pictureBefore(start, act);
  const opened = await open(start);
  const first = await ask(opened, start, act);
  const commits = opened.commits.count();
  const once = await pictureOf(opened, start, act);
  const second = await ask(opened, start, act);
  return { start, before, first, commits, once, second, twice: await pictureOf(opened, start, act) };
}

/** What became of the act where the process died after so many of its commits, and what its repeat came to. */
async function killedAfter(commits: number, act: ChangingRequest, live: Awaited<ReturnType<typeof undisturbed>>) {
  const { start, before, once, first, second, twice } = live;
  const dying = await open(start);
  dying.commits.begin(commits);
  await ask(dying, start, act);
  await dying.server.close();
  const opened = await openAgain(dying.server.databaseFile, start.clock, start.looking);
  const seen = await pictureOf(opened, start, act);
  const found = seen === once ? "whole" : seen === before ? "absent" : "half";
  const answer = await ask(opened, start, act);
  const after = await pictureOf(opened, start, act);
  const repeated = found === "whole" ? { answer: second, after: twice } : { answer: first, after: once };
  // What differs is shown, so that a red run says what it was.
  return { found, repeated: answer === repeated.answer && after === repeated.after ? true : { answer, after, live } };
}

async function killedAtEachCommit(act: ChangingRequest) {
  const live = await undisturbed(act);
  const found = [];
  for (let commits = 1; commits <= live.commits; commits += 1) found.push(await killedAfter(commits, act, live));
  return { live, found };
}

describe("an act that the process dies in", () => {
  it("is in this table, whatever route it has", async () => {
    const server = await openTestServer();
    const { paths } = (await server.app.inject({ url: "/api/docs/json" })).json() as { paths: Record<string, object> };
    const routes = Object.entries(paths).flatMap(([path, methods]) =>
      Object.keys(methods).map((method) => `${method.toUpperCase()} ${path.replace(/\{(\w+)\}/g, ":$1")}`),
    );
    const proved = changingRequests.map(({ route }) => route.replace("/trayJammed/", "/:fault/"));
    const changing = routes.filter((route) => !route.startsWith("GET "));
    expect([...proved, ...deviceRoutes].sort()).toEqual(changing.sort());
  });

  it.each(changingRequests)("is whole or absent, and can be repeated: $route", async (act) => {
    const { live, found } = await killedAtEachCommit(act);
    expect(live.first).toBeLessThan(300);
    expect(live.second).toBe(act.again ?? live.first);
    if (!act.unseen) expect(live.once).not.toBe(live.before);
    if (act.commits === 0) expect(live.commits).toBe(0);
    else expect(live.commits).toBeGreaterThan(0);
    for (const each of found) expect(each).toEqual({ found: expect.stringMatching(/whole|absent/), repeated: true });
  });

  it("is seen to be done by half where its changes are two commits", async () => {
    const [name, zone] = [{ name: "Alder Croft" }, { zone: "Europe/Helsinki" }];
    const split: ChangingRequest = { route: "PATCH /api/v1/yards/:yard", body: name, andThen: zone };
    const { found } = await killedAtEachCommit(split);
    // Each of the two moves a call on besides, in a commit of its own.
    expect(found.map((each) => each.found)).toEqual(["half", "half", "whole", "whole"]);
  });
});
