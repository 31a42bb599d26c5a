import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { onTestFinished } from "vitest";
import type { PlanView } from "../../../server/contract/planView.ts";
import { days, hours, type Instant, minutes, type Span, seconds } from "../../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../../server/flows/periodicCheck.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { feederFolder } from "../../support/feederProgram.ts";
import { feedingExample } from "../../support/feedingExample.ts";
import { requestAs } from "../../support/people.ts";
import { openTestServer, type TestServer } from "../../support/testServer.ts";
import { openPoorLine } from "../killedPair/poorLine.ts";
import { problemsOf } from "../killedPair/promises.ts";

/**
 * The server is away for a week or more while the feeder's own program goes on: its Feeder, its card and its requests are the real ones, and
 * both clocks are virtual (virtualFeeder.py). At the end each promise is checked by what the motor recorded.
 */
export interface WeekFigures {
  readonly problems: readonly string[];
  readonly waiting: number; // events when the server came back
  readonly freeFood: number; // portions of free food while it was away
  readonly runs: number;
}

export interface WeekOptions {
  readonly folder: string;
  readonly daysAway: number;
  readonly birdsADay: number;
  readonly seed: number;
}

const reportEverySeconds = 900;
/** A feeder that has waited for longest comes back by then. */
const backWithin = minutes(8);

export async function runWeek({ folder, daysAway, birdsADay, seed }: WeekOptions): Promise<WeekFigures> {
  let server = await openTestServer();
  const { key, feeder } = await planned(server);
  const url = await server.app.listen({ host: "127.0.0.1", port: 0 });
  const line = await openPoorLine(seededRandom(seed));
  onTestFinished(() => line.close());
  line.mend();
  line.leadTo(Number(new URL(url).port));
  mkdirSync(join(folder, "card"));
  const epoch = server.clock.now() / 1_000;
  const args = [feederFolder, `http://127.0.0.1:${line.port}`, key, join(folder, "card"), epoch, birdsADay, seed];
  const program = startVirtualFeeder(args.map(String));
  const planOf = async (): Promise<PlanView> =>
    (await requestAs(server, "GET", `/api/v1/feeders/${feeder.id}/plan`, server.keeper)).json();

  await program.run(hours(2.5), (span) => checkedPass(server, span));
  const plan = await planOf();
  const awayFrom = server.clock.now();
  await server.close();
  line.leadTo(null);
  const { clock } = server;
  const { waiting } = await program.run(days(daysAway), (span) => void clock.advance(span));
  const backAt = clock.now();
  server = await server.restart();
  line.leadTo(Number(new URL(await server.app.listen({ host: "127.0.0.1", port: 0 })).port));
  await program.run(backWithin, (span) => checkedPass(server, span, backAt));
  const { runs } = await program.run(hours(1), (span) => checkedPass(server, span, backAt));
  await program.end();

  const log = (await requestAs(server, "GET", `/api/v1/feeders/${feeder.id}/log`, server.keeper)).body;
  const truth = { boots: ["b-0"], runsOf: () => runs, orders: new Map() };
  const free = freeFoodProblems(plan, await storedPortions(server, feeder.id), [awayFrom, backAt]);
  const problems = [
    ...problemsOf(log, truth, await planOf()).problems,
    ...free.problems,
    ...datingProblems(await storedPortions(server, feeder.id), runs),
    ...(await alarmProblems(server, feeder.id, backAt)),
  ];
  return { problems, waiting, freeFood: free.given, runs: runs.length };
}

async function planned(server: TestServer) {
  const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
  await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
  const added = await server.addFeeder({ portionGrams: 2, reportEverySeconds });
  const each = { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 0 };
  const feeding = { ...feedingExample, press: each, deposit: each, rationGrams: 5_000, quietTimes: [] };
  const answer = await requestAs(server, "PATCH", `/api/v1/feeders/${added.feeder.id}`, server.keeper, { feeding });
  if (answer.statusCode !== 200) throw new Error(`expected a plan, got ${answer.body}`);
  return added;
}

/** Each minute that passes, as a server that is there. */
async function checkedPass(server: TestServer, span: Span, listeningSince: Instant | null = null): Promise<void> {
  for (let left = span; left > 0; left = (left - minutes(1)) as Span) {
    server.clock.advance(Math.min(left, minutes(1)) as Span);
    await runPeriodicChecks(server.ports, listeningSince);
  }
}

interface StoredPortion {
  readonly recordedAt: number; // seconds since 1970, as the server dated it
  readonly cause: string;
}

async function storedPortions(server: TestServer, feeder: string): Promise<readonly StoredPortion[]> {
  const all = await server.store.records.events(feeder, 0 as never, (server.clock.now() + 1) as never, 100_000);
  return all.flatMap(({ recordedAt, body }) => {
    const { kind, cause } = JSON.parse(body) as { kind: string; cause: string };
    return kind === "portion" ? [{ recordedAt: recordedAt / 1_000, cause }] : [];
  });
}

const datingProblems = (portions: readonly StoredPortion[], runs: readonly number[]): string[] =>
  portions.flatMap(({ recordedAt }, index) => {
    const apart = recordedAt - (runs[index] ?? Number.NaN);
    return Math.abs(apart) <= 1 ? [] : [`the server dates portion ${index + 1} ${apart.toFixed(1)} s off`];
  });

/** Every planned time of the days without a server has its food, at that time, and there is no other. */
function freeFoodProblems(plan: PlanView, portions: readonly StoredPortion[], [from, to]: readonly [number, number]) {
  const inside = (at: number) => at >= from / 1_000 && at < to / 1_000 - 60;
  const wanted = plan.days.flatMap(({ free, portionsEach }) =>
    free.flatMap((at) => Array.from({ length: portionsEach }, () => Date.parse(at) / 1_000)),
  );
  const due = wanted.filter(inside);
  const given = portions.filter(({ cause, recordedAt }) => cause === "timer" && inside(recordedAt));
  const missing = due.filter((at) => !given.some(({ recordedAt }) => recordedAt >= at && recordedAt < at + 60));
  const problems = missing.map((at) => `no free food at ${new Date(at * 1_000).toISOString()}`);
  if (given.length !== due.length) problems.push(`${given.length} portions of free food, and ${due.length} planned`);
  if (due.length < 7) problems.push(`the plan has only ${due.length} times of free food, too few to show anything`);
  return { problems, given: given.length };
}

/** Nothing that happened while nobody could know it rings afterwards. */
async function alarmProblems(server: TestServer, feeder: string, backAt: number): Promise<string[]> {
  const { alarms } = await server.runPeriodicCheck(feeder);
  const all = await server.store.records.alarmChanges(feeder, 0 as never, (server.clock.now() + 1) as never);
  return [
    ...alarms.map(({ fault }) => `${fault} is in force at the end`),
    ...all
      .filter(({ to }) => to === "unacknowledged")
      .map(
        ({ fault, at }) => `${fault} rang ${at >= backAt ? "after the server came back" : "before the server went"}`,
      ),
  ];
}

interface Outcome {
  readonly runs: readonly number[];
  readonly waiting: number;
}

/** @returns its lines in turn; `pass` is called for each span of time that has passed for it */
function startVirtualFeeder(args: readonly string[]) {
  const program = spawn("python3", ["-B", join(import.meta.dirname, "virtualFeeder.py"), ...args], {
    stdio: ["pipe", "pipe", "inherit"],
  });
  onTestFinished(() => void program.kill("SIGKILL"));
  const lines = createInterface({ input: program.stdout })[Symbol.asyncIterator]();
  let at = 0; // ms since its start
  return {
    async run(span: Span, pass: (span: Span) => void | Promise<void>): Promise<Outcome> {
      program.stdin.write(`${JSON.stringify({ run: span / 1_000 })}\n`);
      for (;;) {
        const { value, done } = await lines.next();
        if (done) throw new Error("expected the feeder's program to go on, and it ended");
        const line = JSON.parse(value) as { send?: number; done?: number } & Outcome;
        const to = Math.round(seconds(line.send ?? line.done ?? 0));
        if (to > at) await pass((to - at) as Span);
        at = Math.max(at, to);
        if (line.done !== undefined) return line;
        program.stdin.write("go\n");
      }
    },
    async end(): Promise<void> {
      const ended = once(program, "exit");
      program.stdin.end();
      await ended;
    },
  };
}
