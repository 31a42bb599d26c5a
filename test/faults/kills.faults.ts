import { spawn } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setImmediate as nextTurn, setTimeout as sleep } from "node:timers/promises";
import Database from "better-sqlite3";
import { expect, it, onTestFinished } from "vitest";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import { runBuiltServer } from "../support/builtServer.ts";
import { createEarlierDatabase } from "./kills/earlierDatabase.ts";
import { getJson, type HttpSession, openSession, retryWhileBusy } from "./kills/httpSession.ts";
import { KillCheck } from "./kills/killCheck.ts";
import { checkedProperties } from "./kills/properties.ts";
import { type ReportingFeeder, reportingFeeder } from "./kills/reporters.ts";
import { plantLaterVersion } from "./plantedVersion.ts";

/**
 * The built server is killed with SIGKILL while feeders report and keepers act, and during a start, a migration, a first sign-in and
 * a backup. After each restart nothing confirmed is lost, no action is half done, the account has its yard, and the server is healthy.
 *
 * Replayed by `SEED=… KILLS=… npm run test:faults`: the same moments are chosen, but how far the server got by then differs.
 */
const seed = Number(process.env.SEED ?? "20261129");
const kills = Number(process.env.KILLS ?? "200");
const secondsEach = 40; // a limit: one kill takes two to four on two cores, and ten times as long on a busy machine

const account = { name: "Ada", passphrase: "seven wet crows count copper kettles" };
const variables = { ALLOW_PRIVATE_PUSH_ENDPOINTS: "true", REPORTS_PER_MINUTE: "1000000" };

type Moment = "actions" | "start" | "backup" | "firstSignIn" | "migration";
/** Of twenty kills; most can go wrong in actions. */
const moments: readonly Moment[] = [
  ...Array<Moment>(11).fill("actions"),
  ...Array<Moment>(3).fill("start"),
  ...Array<Moment>(2).fill("backup"),
  ...Array<Moment>(2).fill("firstSignIn"),
  ...Array<Moment>(2).fill("migration"),
];

it(`loses nothing and leaves nothing half done in ${kills} kills`, {
  timeout: kills * secondsEach * 1_000 + 60_000,
}, async () => {
  const chance = seededRandom(seed);
  const folder = mkdtempSync(join(tmpdir(), "pieward-kills-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const host = await openKillHost(join(folder, "host"), chance);
  const later = plantLaterVersion();
  const problems: string[] = [];
  const done: Record<Moment, number> = { actions: 0, start: 0, backup: 0, firstSignIn: 0, migration: 0 };
  const began = Date.now();
  for (let number = 0; number < kills && problems.length < 20; number += 1) {
    const moment = moments[(number * 7) % moments.length] as Moment; // 7 and 20 share no factor: each comes its share of times
    const found = await kill(moment, { host, later, chance, folder: join(folder, `${number}`) });
    problems.push(...found.map((problem) => `kill ${number + 1} (${moment}, seed ${seed}): ${problem}`));
    done[moment] += 1;
    if ((number + 1) % 20 === 0) print(`${number + 1} kills: ${JSON.stringify({ ...done, ...host.counts() })}`);
  }
  problems.push(...(await host.missingRecords()));
  const minutes = (Date.now() - began) / 60_000;
  print(`${Math.round(kills / minutes)} kills a minute, ${JSON.stringify(host.counts())}`);
  expect(problems).toEqual([]);
  if (kills >= moments.length)
    for (const [moment, times] of Object.entries(done)) expect([moment, times]).not.toEqual([moment, 0]);
  expect(host.counts().confirmedEvents).toBeGreaterThan(0);
  for (const [name, confirmed] of host.confirmed()) expect([name, confirmed]).not.toEqual([name, 0]);
});

const print = (line: string) => process.stdout.write(`${line}\n`);

interface Around {
  readonly host: KillHost;
  /** Main file of a later version, which migrates. */
  readonly later: string;
  readonly chance: RandomSource;
  readonly folder: string; // its own, for a new server
}

function kill(moment: Moment, around: Around): Promise<readonly string[]> {
  switch (moment) {
    case "actions":
      return around.host.kill("underLoad");
    case "start":
      return around.host.kill("whileStarting");
    case "backup":
      return around.host.kill("whileBackedUp");
    case "firstSignIn":
      return killDuringFirstSignIn(around);
    case "migration":
      return killDuringMigration(around);
  }
}

// --- the data folder that is used for all kills -------------------------------------------------------------------------

interface KillHost {
  /** Kills the server in such a moment and starts it again. @returns what is wrong then */
  kill(when: "underLoad" | "whileStarting" | "whileBackedUp"): Promise<readonly string[]>;
  /** What the whole records of all feeders lack. */
  missingRecords(): Promise<readonly string[]>;
  counts(): { readonly confirmedEvents: number; readonly confirmedActions: number };
  confirmed(): readonly (readonly [string, number])[];
}

async function openKillHost(dataDir: string, chance: RandomSource): Promise<KillHost> {
  let server = runBuiltServer(dataDir, variables);
  const token = (await server.waitForOutput(/first-sign-in#(\S+)\n/))[1];
  const signedIn = await (await openSession(server)).ask("POST", "/api/v1/first-sign-in", { token, ...account });
  const { cookie } = signedIn;
  let session = await openSession(server, cookie);
  const yard = (await getJson(session, "/api/v1/home")).json().yards[0].id as string;
  const keeper = (await getJson(session, "/api/v1/me")).json().id as string;
  await session.ask("PATCH", `/api/v1/yards/${yard}`, { digestWanted: false });
  const added: { id: string; key: string }[] = [];
  for (let number = 1; number <= 12; number += 1) {
    const answer = (await session.ask("POST", "/api/v1/feeders", { yard, name: `Rowan ${number}` })).json();
    added.push({ id: answer.feeder.id, key: answer.key });
  }
  const reporters = added.slice(0, 4).map((one) => reportingFeeder(one, () => 1 + Math.floor(chance.uniform() * 20)));
  const feeders = added.map(({ id }) => id);
  const checks = checkedProperties({ id: yard, keeper, silent: feeders.slice(4), feeders }).map(
    (each) => new KillCheck(each),
  );
  for (const each of checks) {
    await each.check(session); // what is stored before the first action
  }

  const restart = async (): Promise<readonly string[]> => {
    server = runBuiltServer(dataDir, variables);
    session = await openSession(server, cookie);
    return problemsAfterRestart(session, checks, reporters);
  };
  /** @param answers how many answers to wait for, so that the speed of this machine doesn't matter */
  const underLoad = async (answers: number, active: readonly KillCheck[] = checks): Promise<readonly string[]> => {
    const load = startLoad(session, active, reporters);
    for (let waited = 0; waited < 5_000 && load.answered() < answers; waited += 5) await sleep(5);
    if (chance.isTrueWith(0.7)) await nextCommit(join(dataDir, "pieward.db-wal"));
    else await sleep(chance.between(0, 30));
    server.kill("SIGKILL");
    const wrong = await load.ended();
    await server.exited;
    return [...wrong, ...(await restart())];
  };
  return {
    async kill(when) {
      if (when === "underLoad") {
        // Half of the time only one kind of action runs, so that the kill falls between two commits of it.
        const alone = chance.isTrueWith(0.5)
          ? checks.slice(Math.floor(chance.uniform() * checks.length)).slice(0, 1)
          : checks;
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
    async missingRecords() {
      const missing = [];
      for (const each of reporters) missing.push(await each.missingFromRecord(session));
      return missing.filter((problem) => problem !== null);
    },
    counts: () => ({
      confirmedEvents: reporters.reduce((sum, each) => sum + each.confirmed(), 0),
      confirmedActions: checks.reduce((sum, each) => sum + each.confirmedActions, 0),
    }),
    confirmed: () => checks.map(({ property, confirmedActions }) => [property.name, confirmedActions] as const),
  };
}

/** Right after a commit, which is when an action of two commits is half done. */
async function nextCommit(log: string): Promise<void> {
  const sizeAndTime = () => {
    const { size, mtimeNs } = statSync(log, { bigint: true });
    return `${size} ${mtimeNs}`;
  };
  const [before, until] = [sizeAndTime(), Date.now() + 2_000];
  while (sizeAndTime() === before && Date.now() < until) await nextTurn();
}

/** Each feeder and each kind of action goes on by itself, as fast as the server answers, until the connection breaks. */
function startLoad(session: HttpSession, checks: readonly KillCheck[], reporters: readonly ReportingFeeder[]) {
  let [stopped, answered] = [false, 0];
  const wrong: string[] = [];
  const repeat = async (step: () => Promise<string | null>) => {
    while (!stopped) {
      const problem = await step().catch((error: unknown) => {
        if (!(error instanceof TypeError)) throw error; // what `fetch` throws where the connection breaks
        stopped = true;
        return null;
      });
      answered += 1;
      if (problem !== null) wrong.push(problem);
    }
  };
  const loops = [
    ...reporters.map((each) => repeat(() => each.report(session))),
    ...checks.map((each) => repeat(() => each.act(session))),
  ];
  return {
    answered: () => answered,
    async ended() {
      await Promise.all(loops);
      return wrong;
    },
  };
}

async function problemsAfterRestart(
  session: HttpSession,
  checks: readonly KillCheck[],
  reporters: readonly ReportingFeeder[],
) {
  const wrong: (string | null)[] = [await healthProblem(session)];
  for (const each of reporters) wrong.push(await each.missing(session));
  for (const each of checks) wrong.push(await each.check(session));
  return wrong.filter((problem) => problem !== null);
}

async function healthProblem(session: HttpSession): Promise<string | null> {
  const health = await retryWhileBusy(() => session.ask("GET", "/api/v1/health"));
  if (health.status !== 200 || health.json().status !== "well") return `health is ${health.status} ${health.text}`;
  const { yards } = (await getJson(session, "/api/v1/home")).json();
  const own = (yards as { practice: boolean; role: string }[]).filter(({ practice }) => !practice);
  return own.length === 1 && own[0]?.role === "keeper" ? null : `the account has ${own.length} yards`;
}

/** What is wrong with folders that have the name of a whole backup. */
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
    const result = database.pragma("integrity_check", { simple: true });
    const keepers = database.prepare('SELECT count(*) FROM "Keeper"').pluck().get();
    return result === "ok" && Number(keepers) > 0 ? [] : [`${file}: ${result}, ${keepers} keepers`];
  } catch (error) {
    return [`${file}: ${error}`];
  } finally {
    database.close();
  }
}

// --- data folders of their own -------------------------------------------------------------------------------------------

/** How long a first sign-in takes from the request to the answer, so that kills fall around its commit; measured as they run. */
let signInMilliseconds = 150;

async function killDuringFirstSignIn({ chance, folder }: Around): Promise<readonly string[]> {
  const server = runBuiltServer(folder, variables);
  const token = (await server.waitForOutput(/first-sign-in#(\S+)\n/))[1];
  const visitor = await openSession(server);
  const began = Date.now();
  const answer = visitor.ask("POST", "/api/v1/first-sign-in", { token, ...account }).then(
    (signedIn) => {
      signInMilliseconds = Date.now() - began;
      return signedIn;
    },
    () => null,
  );
  await sleep(signInMilliseconds * chance.between(0.5, 1.2));
  server.kill("SIGKILL");
  await server.exited;
  const firstAnswer = await answer;

  const again = runBuiltServer(folder, variables);
  const first = await openSession(again);
  const printed = again.waitForOutput(/first-sign-in#(\S+)\n/).then(
    ([, link]) => link,
    () => undefined, // it prints none
  );
  const link = await Promise.race([printed, sleep(500)]); // it follows the address at once, or never comes
  if (firstAnswer !== null && link !== undefined) return ["a confirmed first sign-in is lost"];
  // A person without an answer opens the same link again, or the new one that the server prints.
  const repeated = await retryWhileBusy(() =>
    first.ask("POST", "/api/v1/first-sign-in", { token: link ?? token, ...account }),
  );
  if (repeated.status !== 200) return [`the first sign-in can't be repeated: ${repeated.status} ${repeated.text}`];
  const problem = await healthProblem(await openSession(again, repeated.cookie));
  again.kill("SIGKILL");
  await again.exited;
  rmSync(folder, { recursive: true });
  return problem === null ? [] : [problem];
}

async function killDuringMigration({ later, chance, folder }: Around): Promise<readonly string[]> {
  const dataDir = join(folder, "data");
  mkdirSync(dataDir, { recursive: true });
  const earlier = await createEarlierDatabase(dataDir, account);
  const killed = runBuiltServer(dataDir, variables, [], later);
  await sleep(chance.between(150, 1_000));
  killed.kill("SIGKILL");
  await killed.exited;
  const wrong = brokenCopies(dataDir);

  const server = runBuiltServer(dataDir, variables, [], later);
  const visitor = await openSession(server);
  const signedIn = await retryWhileBusy(() => visitor.ask("POST", "/api/v1/session", account));
  const session = await openSession(server, signedIn.cookie);
  const problem = await healthProblem(session);
  const { text } = await getJson(session, `/api/v1/feeders/${earlier.feeder}`);
  const events = countEvents(join(dataDir, "pieward.db"));
  server.kill("SIGKILL");
  await server.exited;
  if (!text.includes("Rowan")) wrong.push(`the feeder is ${text}`);
  if (events !== earlier.events) wrong.push(`${earlier.events} events were there, and now ${events}`);
  if (problem !== null) wrong.push(problem);
  wrong.push(...brokenCopies(dataDir));
  rmSync(folder, { recursive: true });
  return wrong;
}

/** What is wrong with copies from before a migration that have their final name. */
function brokenCopies(dataDir: string): string[] {
  const copies = readdirSync(dataDir).filter((name) => /\.before-[\dTZ-]+$/.test(name));
  return copies.flatMap((name) => brokenDatabase(join(dataDir, name)));
}

function countEvents(file: string): unknown {
  const database = new Database(file, { readonly: true });
  try {
    return database.prepare('SELECT count(*) FROM "LogLine", json_each("events")').pluck().get();
  } finally {
    database.close();
  }
}
