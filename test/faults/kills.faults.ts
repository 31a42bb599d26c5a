import { spawn } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setImmediate as nextTurn, setTimeout as sleep } from "node:timers/promises";
import Database from "better-sqlite3";
import { expect, it, onTestFinished } from "vitest";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import { runBuiltServer } from "../support/builtServer.ts";
import { getJson, type HttpSession, openSession, retryWhileBusy } from "./kills/httpSession.ts";
import { KillCheck } from "./kills/killCheck.ts";
import { createOlderDatabase } from "./kills/olderDatabase.ts";
import { checkedProperties } from "./kills/properties.ts";
import { type ReportingFeeder, reportingFeeder } from "./kills/reporters.ts";

/**
 * The built server is killed with -9 while feeders report and keepers act, while it starts, migrates, is claimed and is backed
 * up. After each restart nothing confirmed is lost, no act is done by half, the house has a yard, and health is true.
 *
 * Replayed by `SEED=… KILLS=… npm run test:faults`: the same moments are chosen, but how far the server got by then differs.
 */
const seed = Number(process.env.SEED ?? "20261129");
const kills = Number(process.env.KILLS ?? "200");
const secondsEach = 15; // the bound: one kill takes two to four on two cores

const account = { name: "Ada", passphrase: "seven wet crows count copper kettles" };
const variables = { ALLOW_PRIVATE_PUSH_ENDPOINTS: "true", REPORTS_PER_MINUTE: "1000000" };

type Moment = "acts" | "start" | "backup" | "claim" | "migration";
/** Of twenty kills; acts are what most can go wrong in. */
const moments: readonly Moment[] = [
  ...Array<Moment>(11).fill("acts"),
  ...Array<Moment>(3).fill("start"),
  ...Array<Moment>(2).fill("backup"),
  ...Array<Moment>(2).fill("claim"),
  ...Array<Moment>(2).fill("migration"),
];

it(`loses nothing and does nothing by half in ${kills} kills`, {
  timeout: kills * secondsEach * 1_000 + 60_000,
}, async () => {
  const chance = seededRandom(seed);
  const folder = mkdtempSync(join(tmpdir(), "pieward-kills-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const house = await openHouse(join(folder, "house"), chance);
  const problems: string[] = [];
  const done: Record<Moment, number> = { acts: 0, start: 0, backup: 0, claim: 0, migration: 0 };
  const began = Date.now();
  for (let number = 0; number < kills && problems.length < 20; number += 1) {
    const moment = moments[(number * 7) % moments.length] as Moment; // 7 and 20 share no factor: each comes its share of times
    const found = await kill(moment, { house, chance, folder: join(folder, `${number}`) });
    problems.push(...found.map((words) => `kill ${number + 1} (${moment}, seed ${seed}): ${words}`));
    done[moment] += 1;
    if ((number + 1) % 20 === 0) say(`${number + 1} kills: ${JSON.stringify({ ...done, ...house.counts() })}`);
  }
  problems.push(...(await house.whole()));
  const minutes = (Date.now() - began) / 60_000;
  say(`${Math.round(kills / minutes)} kills a minute, ${JSON.stringify(house.counts())}`);
  expect(problems).toEqual([]);
  if (kills >= moments.length)
    for (const [moment, times] of Object.entries(done)) expect([moment, times]).not.toEqual([moment, 0]);
  expect(house.counts().confirmedEvents).toBeGreaterThan(0);
  for (const [name, confirmed] of house.confirmed()) expect([name, confirmed]).not.toEqual([name, 0]);
});

const say = (words: string) => process.stdout.write(`${words}\n`);

interface Around {
  readonly house: House;
  readonly chance: RandomSource;
  readonly folder: string; // of its own, for what needs a fresh house
}

function kill(moment: Moment, around: Around): Promise<readonly string[]> {
  switch (moment) {
    case "acts":
      return around.house.killed("underLoad");
    case "start":
      return around.house.killed("whileStarting");
    case "backup":
      return around.house.killed("whileBackedUp");
    case "claim":
      return killedWhileClaimed(around);
    case "migration":
      return killedWhileMigrating(around);
  }
}

// --- the house that lives through all kills ---------------------------------------------------------------------------

interface House {
  killed(when: "underLoad" | "whileStarting" | "whileBackedUp"): Promise<readonly string[]>;
  /** The whole records of all feeders at the end. */
  whole(): Promise<readonly string[]>;
  counts(): { readonly confirmedEvents: number; readonly confirmedActs: number };
  confirmed(): readonly (readonly [string, number])[];
}

async function openHouse(dataDir: string, chance: RandomSource): Promise<House> {
  let server = runBuiltServer(dataDir, variables);
  const claim = (await server.waitForOutput(/first-sign-in#(\S+)\n/))[1];
  const claimed = await (await openSession(server)).ask("POST", "/api/v1/first-sign-in", { token: claim, ...account });
  const { cookie } = claimed;
  let visiting = await openSession(server, cookie);
  const yard = (await getJson(visiting, "/api/v1/home")).json().yards[0].id as string;
  const keeper = (await getJson(visiting, "/api/v1/me")).json().id as string;
  await visiting.ask("PATCH", `/api/v1/yards/${yard}`, { digestWanted: false });
  const added: { id: string; key: string }[] = [];
  for (let number = 1; number <= 12; number += 1) {
    const answer = (await visiting.ask("POST", "/api/v1/feeders", { yard, name: `Rowan ${number}` })).json();
    added.push({ id: answer.feeder.id, key: answer.key });
  }
  const reporters = added.slice(0, 4).map((one) => reportingFeeder(one, () => 1 + Math.floor(chance.uniform() * 20)));
  const feeders = added.map(({ id }) => id);
  const judged = checkedProperties({ id: yard, keeper, quiet: feeders.slice(4), feeders }).map(
    (each) => new KillCheck(each),
  );
  for (const each of judged) {
    await each.check(visiting); // what stands before the first act
  }

  const restart = async (): Promise<readonly string[]> => {
    server = runBuiltServer(dataDir, variables);
    visiting = await openSession(server, cookie);
    return judge(visiting, judged, reporters);
  };
  /** @param answers how many the load waits for: how far the server gets doesn't depend on how fast this machine is */
  const underLoad = async (answers: number, acting: readonly KillCheck[] = judged): Promise<readonly string[]> => {
    const load = startLoad(visiting, acting, reporters);
    for (let waited = 0; waited < 5_000 && load.answered() < answers; waited += 5) await sleep(5);
    if (chance.isTrueWith(0.7)) await nextCommit(join(dataDir, "pieward.db-wal"));
    else await sleep(chance.between(0, 30));
    server.kill("SIGKILL");
    const wrong = await load.ended();
    await server.exited;
    return [...wrong, ...(await restart())];
  };
  return {
    async killed(when) {
      if (when === "underLoad") {
        // One act alone has most of the commits, so that the kill falls between two of its own.
        const alone = chance.isTrueWith(0.5)
          ? judged.slice(Math.floor(chance.uniform() * judged.length)).slice(0, 1)
          : judged;
        return underLoad(Math.floor(chance.between(0, alone.length === 1 ? 12 : 80)), alone);
      }
      if (when === "whileBackedUp") {
        const to = join(dataDir, "..", "backups");
        const backup = spawn(process.execPath, ["deploy/backup/backup.mjs", "--data", dataDir, "--to", to]);
        const ended = new Promise((resolve) => backup.once("close", resolve));
        const wrong = await underLoad(Math.floor(chance.between(20, 120)));
        if (chance.isTrueWith(0.5)) backup.kill("SIGKILL");
        await ended;
        return [...wrong, ...brokenBackups(to)];
      }
      server.kill("SIGKILL");
      await server.exited;
      const starting = runBuiltServer(dataDir, variables);
      await sleep(chance.between(0, 1_200));
      starting.kill("SIGKILL");
      await starting.exited;
      return restart();
    },
    async whole() {
      const missing = [];
      for (const each of reporters) missing.push(await each.missingOfAll(visiting));
      return missing.filter((words) => words !== null);
    },
    counts: () => ({
      confirmedEvents: reporters.reduce((sum, each) => sum + each.confirmed(), 0),
      confirmedActs: judged.reduce((sum, each) => sum + each.confirmedActs, 0),
    }),
    confirmed: () => judged.map(({ property, confirmedActs }) => [property.name, confirmedActs] as const),
  };
}

/** Right after something was written, which is when an act of two commits is done by half. */
async function nextCommit(log: string): Promise<void> {
  const stand = () => {
    const { size, mtimeNs } = statSync(log, { bigint: true });
    return `${size} ${mtimeNs}`;
  };
  const [before, until] = [stand(), Date.now() + 2_000];
  while (stand() === before && Date.now() < until) await nextTurn();
}

/** Each feeder and each kind of act goes on by itself, as fast as it is answered, until the connection breaks. */
function startLoad(visiting: HttpSession, judged: readonly KillCheck[], reporters: readonly ReportingFeeder[]) {
  let [stopped, answered] = [false, 0];
  const wrong: string[] = [];
  const go = async (step: () => Promise<string | null>) => {
    while (!stopped) {
      const words = await step().catch((error: unknown) => {
        if (!(error instanceof TypeError)) throw error; // what `fetch` throws where the connection breaks
        stopped = true;
        return null;
      });
      answered += 1;
      if (words !== null) wrong.push(words);
    }
  };
  const loops = [
    ...reporters.map((each) => go(() => each.report(visiting))),
    ...judged.map((each) => go(() => each.act(visiting))),
  ];
  return {
    answered: () => answered,
    async ended() {
      await Promise.all(loops);
      return wrong;
    },
  };
}

async function judge(visiting: HttpSession, judged: readonly KillCheck[], reporters: readonly ReportingFeeder[]) {
  const wrong: (string | null)[] = [await unwell(visiting)];
  for (const each of reporters) wrong.push(await each.missing(visiting));
  for (const each of judged) wrong.push(await each.check(visiting));
  return wrong.filter((words) => words !== null);
}

async function unwell(visiting: HttpSession): Promise<string | null> {
  const health = await retryWhileBusy(() => visiting.ask("GET", "/api/v1/health"));
  if (health.status !== 200 || health.json().status !== "well") return `health is ${health.status} ${health.text}`;
  const { yards } = (await getJson(visiting, "/api/v1/home")).json();
  const own = (yards as { practice: boolean; role: string }[]).filter(({ practice }) => !practice);
  return own.length === 1 && own[0]?.role === "keeper" ? null : `the house has ${own.length} yards`;
}

/** What carries the name of a whole backup and isn't one. */
function brokenBackups(to: string): readonly string[] {
  if (!existsSync(to)) return [];
  const whole = readdirSync(to).filter((name) => /^pieward-[\dTZ-]+$/.test(name));
  return whole.flatMap((name) => [
    ...brokenDatabase(join(to, name, "pieward.db")),
    ...(existsSync(join(to, name, "keys.json")) ? [] : [`${name} has no keys`]),
  ]);
}

function brokenDatabase(file: string): readonly string[] {
  if (!existsSync(file)) return [`${file} isn't there`];
  const database = new Database(file, { readonly: true });
  try {
    const said = database.pragma("integrity_check", { simple: true });
    const keepers = database.prepare('SELECT count(*) FROM "Keeper"').pluck().get();
    return said === "ok" && Number(keepers) > 0 ? [] : [`${file}: ${said}, ${keepers} keepers`];
  } catch (error) {
    return [`${file}: ${error}`];
  } finally {
    database.close();
  }
}

// --- houses of their own -----------------------------------------------------------------------------------------------

/** How long a claim takes from the request to the answer, so that kills fall around its commit; learnt from the first ones. */
let claimTakes = 150;

async function killedWhileClaimed({ chance, folder }: Around): Promise<readonly string[]> {
  const server = runBuiltServer(folder, variables);
  const token = (await server.waitForOutput(/first-sign-in#(\S+)\n/))[1];
  const stranger = await openSession(server);
  const began = Date.now();
  const answer = stranger.ask("POST", "/api/v1/first-sign-in", { token, ...account }).then(
    (claimed) => {
      claimTakes = Date.now() - began;
      return claimed;
    },
    () => null,
  );
  await sleep(claimTakes * chance.between(0.5, 1.2));
  server.kill("SIGKILL");
  await server.exited;
  const claimed = await answer;

  const again = runBuiltServer(folder, variables);
  const first = await openSession(again);
  const shown = again.waitForOutput(/first-sign-in#(\S+)\n/).then(
    ([, link]) => link,
    () => undefined, // it ends without a word of it
  );
  const link = await Promise.race([shown, sleep(500)]); // it comes right after the address, or never
  if (claimed !== null && link !== undefined) return ["a confirmed claim is forgotten"];
  // Whoever had no answer opens the same link once more, or the new one that the server then shows.
  const repeated = await retryWhileBusy(() => first.ask("POST", "/api/v1/first-sign-in", { token: link ?? token, ...account }));
  if (repeated.status !== 200) return [`the claim can't be repeated: ${repeated.status} ${repeated.text}`];
  const problem = await unwell(await openSession(again, repeated.cookie));
  again.kill("SIGKILL");
  await again.exited;
  rmSync(folder, { recursive: true });
  return problem === null ? [] : [problem];
}

async function killedWhileMigrating({ chance, folder }: Around): Promise<readonly string[]> {
  const dataDir = join(folder, "data");
  mkdirSync(dataDir, { recursive: true });
  const older = await createOlderDatabase(dataDir, account, chance);
  const dying = runBuiltServer(dataDir, variables);
  await sleep(chance.between(150, 1_000));
  dying.kill("SIGKILL");
  await dying.exited;
  const wrong = brokenCopies(dataDir);

  const server = runBuiltServer(dataDir, variables);
  const stranger = await openSession(server);
  const signedIn = await retryWhileBusy(() => stranger.ask("POST", "/api/v1/session", account));
  const visiting = await openSession(server, signedIn.cookie);
  const problem = await unwell(visiting);
  const { text } = await getJson(visiting, `/api/v1/feeders/${older.feeder}`);
  const events = countEvents(join(dataDir, "pieward.db"));
  server.kill("SIGKILL");
  await server.exited;
  if (!text.includes("Rowan")) wrong.push(`the feeder is ${text}`);
  if (events !== older.events) wrong.push(`${older.events} events were there, and now ${events}`);
  if (problem !== null) wrong.push(problem);
  wrong.push(...brokenCopies(dataDir));
  rmSync(folder, { recursive: true });
  return wrong;
}

/** The copies from before a migration: under its final name each is whole. */
function brokenCopies(dataDir: string): string[] {
  const copies = readdirSync(dataDir).filter((name) => /\.before-[\dTZ-]+$/.test(name));
  return copies.flatMap((name) => brokenDatabase(join(dataDir, name)));
}

function countEvents(file: string): unknown {
  const database = new Database(file, { readonly: true });
  try {
    return database.prepare('SELECT count(*) FROM "Event"').pluck().get();
  } finally {
    database.close();
  }
}
