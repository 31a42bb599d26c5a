import { copyFileSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, describe, expect, inject, it } from "vitest";
import type { HomeView, InviteView, MadeExportKeyView, PeopleView, SessionsView } from "../../server/contract/api.ts";
import type { NotesView } from "../../server/contract/trainingView.ts";
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
import { jpegPicture, pngPicture } from "../support/pictures.ts";
import { programmeChangeExample } from "../support/programmeChangeExample.ts";
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
 * The process ends right after each commit of each change. Afterwards the whole change is stored, or nothing of it, and the same
 * request sent again has its full effect.
 */

type Headers = Record<string, string>;

/** A prepared database, and what its requests need to know. */
interface Prepared {
  readonly file: string;
  readonly clock: ManualClock;
  /** Two browsers of the keeper: one sends the request, the other reads the result. */
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
  if (start === "noAccount") {
    const fresh = copyDatabase(inject("migratedDatabase"));
    const server = await openTestServerOn(fresh.file, manualClock(), {}, {});
    const firstSignIn = (await openFirstSignIn(server.ports)) as string;
    saveAs(server, file);
    await server.close();
    rmSync(fresh.folder, { recursive: true });
    return { file, clock: server.clock, acting: {}, looking: {}, feederKey: "", named: { firstSignIn } };
  }
  const server = await openTestServer({ practice: idlePracticeGround() });
  const { acting, named, feederKey } = await useEverything(server);
  if (start === "practising") await requestAs(server, "POST", "/api/v1/practice", acting);
  saveAs(server, file);
  return { file, clock: server.clock, acting, looking: server.keeper, feederKey, named };
}

async function useEverything(server: TestServer) {
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
  const started = { ...programmeChangeExample, id: "change-0000" };
  await requestAs(server, "POST", `/api/v1/yards/${server.yard}/training/changes`, server.keeper, started);
  const note = { id: "note-0000", text: "frost on the lid" };
  await requestAs(server, "POST", `/api/v1/yards/${server.yard}/notes`, server.keeper, note);
  const photos = `/api/v1/yards/${server.yard}/notes/note-0000/photos`;
  const photo = await requestAs(server, "POST", photos, server.keeper, await jpegPicture());
  const fromFeeder = { authorization: `Bearer ${key}`, "content-type": "image/jpeg" };
  await requestAs(server, "POST", "/api/v1/stills?boot=b-1&seq=1", fromFeeder, await jpegPicture());
  const person = (await requestAs(server, "GET", "/api/v1/me", bo)).json().id as string;
  const item = server.push.sent[0]?.item as string;
  const people = await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, server.keeper);
  const made = await makeReset(server.ports, "Keeper");
  if (made.kind !== "made") throw new Error("expected a link");
  const acting = await signedIn(server);
  const exportKeyBody = { name: "My table", days: 90, passphrase: "birds before breakfast" };
  const exportKey = await requestAs(server, "POST", "/api/v1/me/export-keys", acting, exportKeyBody);
  const { sessions } = (await requestAs(server, "GET", "/api/v1/me/sessions", acting)).json() as SessionsView;
  return {
    acting,
    feederKey: key,
    named: {
      yard: server.yard,
      feeder: feeder.id,
      person,
      change: started.id,
      note: "note-0000",
      picture: (photo.json() as NotesView).notes[0]?.photos[0]?.id ?? "",
      still: (await server.store.stills.allStills())[0]?.id ?? "",
      item,
      inviteToken: (invite.json() as InviteView).token,
      invite: (people.json() as PeopleView).invites[0]?.id ?? "",
      reset: made.token,
      session: sessions.find(({ here }) => !here)?.id ?? "",
      exportKey: (exportKey.json() as MadeExportKeyView).keys[0]?.id ?? "",
    },
  };
}

async function signedIn(server: TestServer): Promise<Headers> {
  const body = { name: "Keeper", passphrase: "birds before breakfast" };
  const answer = await requestAs(server, "POST", "/api/v1/session", {}, body);
  return { cookie: String(answer.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
}

const saveAs = (server: TestServer, file: string) => server.connections.direct.prepare("VACUUM INTO ?").run(file);

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
  await server.programme.resume();
  await startMissingEscalations(server.ports);
  await advanceDueEscalations(server.ports);
  commits.begin(null);
  return { server, commits };
}

async function send(
  { server }: Opened,
  { acting, feederKey, named }: Prepared,
  change: ChangingRequest,
): Promise<number> {
  const [method, path = ""] = change.route.split(" ") as ["GET", string];
  const headers = { signedOut: {}, feeder: { authorization: `Bearer ${feederKey}` }, keeper: acting }[
    change.as ?? "keeper"
  ];
  const withIds = (text: string) =>
    text.replace(
      /:(yard|feeder|person|inviteToken|invite|firstSignIn|item|reset|session|exportKey|change|note|picture|still)\b/g,
      (_, name) => named[name] as string,
    );
  const json = change.body && (JSON.parse(withIds(JSON.stringify(change.body))) as object);
  const body = change.picture ? await pngPicture() : change.text === undefined ? json : Buffer.from(change.text);
  let { statusCode } = await requestAs(server, method, withIds(path), headers, body);
  // On a busy machine the server refuses work for a while; nothing is done then.
  for (let tries = 0; statusCode === 503 && tries < 20; tries += 1) {
    statusCode = (await requestAs(server, method, withIds(path), headers, body)).statusCode;
  }
  if (change.andThen) await requestAs(server, method, withIds(path), headers, change.andThen);
  return statusCode;
}

/** All that the routes show, with random names replaced. */
async function pictureOf(
  { server }: Opened,
  { acting, looking, feederKey }: Prepared,
  change: ChangingRequest,
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
  for (const { id } of home) {
    seen[`training of ${id}`] = await see(`/api/v1/yards/${id}/training`);
    seen[`notes of ${id}`] = await see(`/api/v1/yards/${id}/notes`);
    seen[`stills of ${id}`] = await see(`/api/v1/yards/${id}/stills`);
  }
  seen.exportKeys = await see("/api/v1/me/export-keys");
  seen.session = await see("/api/v1/session", acting);
  if (change.signsIn) {
    const answer = await requestAs(server, "POST", "/api/v1/session", {}, change.signsIn);
    const cookie = String(answer.headers["set-cookie"]).split(";")[0] as string;
    seen.newSession = [answer.statusCode, await see("/api/v1/home", { cookie })];
  }
  if (change.changesKey) seen.oldKey = (await server.report(feederKey, { boot: "b-1", readings: {} })).status;
  return JSON.stringify(seen).replace(/[0-9a-f]{8}-[0-9a-f-]{27}|-[0-9a-f]{6}\b|\b[0-9a-f]{32}\b/g, "<random>");
}

const before = new Map<Start, Promise<string>>();

/** The same for all requests that start there, except those whose picture shows more. */
function pictureBefore(start: Prepared, change: ChangingRequest): Promise<string> {
  const readPicture = async () => pictureOf(await open(start), start, change);
  if (change.signsIn || change.changesKey) return readPicture();
  const name = change.from ?? "usual";
  const found = before.get(name) ?? readPicture();
  before.set(name, found);
  return found;
}

/** The result that is expected: the request and its repeat in a process that isn't stopped. */
async function uninterruptedResult(change: ChangingRequest) {
  const start = await preparedFor(change.from ?? "usual");
  const before = await pictureBefore(start, change);
  const opened = await open(start);
  const first = await send(opened, start, change);
  const commits = opened.commits.count();
  const once = await pictureOf(opened, start, change);
  const second = await send(opened, start, change);
  return { start, before, first, commits, once, second, twice: await pictureOf(opened, start, change) };
}

/** The result where the process ended after so many of its commits, and after its repeat. */
async function killedAfter(
  commits: number,
  change: ChangingRequest,
  live: Awaited<ReturnType<typeof uninterruptedResult>>,
) {
  const { start, before, once, first, second, twice } = live;
  const dying = await open(start);
  dying.commits.begin(commits);
  await send(dying, start, change);
  await dying.server.close();
  const opened = await openAgain(dying.server.databaseFile, start.clock, start.looking);
  const seen = await pictureOf(opened, start, change);
  const found = seen === once ? "whole" : seen === before ? "absent" : "half";
  const answer = await send(opened, start, change);
  const after = await pictureOf(opened, start, change);
  const repeated = found === "whole" ? { answer: second, after: twice } : { answer: first, after: once };
  // The difference is shown, so that a failing test names it.
  return { found, repeated: answer === repeated.answer && after === repeated.after ? true : { answer, after, live } };
}

async function killedAtEachCommit(change: ChangingRequest) {
  const live = await uninterruptedResult(change);
  const found = [];
  for (let commits = 1; commits <= live.commits; commits += 1) found.push(await killedAfter(commits, change, live));
  return { live, found };
}

describe("a change during which the process ends", () => {
  it("is in this table, whatever route it has", async () => {
    const server = await openTestServer();
    const { paths } = (await server.app.inject({ url: "/api/docs/json" })).json() as { paths: Record<string, object> };
    const routes = Object.entries(paths).flatMap(([path, methods]) =>
      Object.keys(methods).map((method) => `${method.toUpperCase()} ${path.replace(/\{(\w+)\}/g, ":$1")}`),
    );
    const tested = changingRequests.map(({ route }) => route.replace("/trayJammed/", "/:fault/"));
    const changing = routes.filter((route) => !route.startsWith("GET "));
    expect([...tested, ...deviceRoutes].sort()).toEqual(changing.sort());
  });

  it.each(changingRequests)("is stored wholly or not at all, and can be repeated: $route", async (change) => {
    const { live, found } = await killedAtEachCommit(change);
    expect(live.first).toBeLessThan(300);
    expect(live.second).toBe(change.again ?? live.first);
    if (!change.unseen) expect(live.once).not.toBe(live.before);
    if (change.commits === 0) expect(live.commits).toBe(0);
    else expect(live.commits).toBeGreaterThan(0);
    for (const each of found) expect(each).toEqual({ found: expect.stringMatching(/whole|absent/), repeated: true });
  });

  it("is found incomplete where it is two commits", async () => {
    const [name, zone] = [{ name: "Alder Croft" }, { zone: "Europe/Helsinki" }];
    const split: ChangingRequest = { route: "PATCH /api/v1/yards/:yard", body: name, andThen: zone };
    const { found } = await killedAtEachCommit(split);
    // Each of the two also advances an escalation, in a commit of its own.
    expect(found.map((each) => each.found)).toEqual(["half", "half", "whole", "whole"]);
  });
});
