import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer, type Server } from "node:http";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import type { BenchView } from "../../server/contract/benchView.ts";
import { type Answer, eventSchemas, reportSchema } from "../../server/contract/report.ts";
import { seconds } from "../../server/domain/instant.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const folder = "deploy/feeder";
const succeeds = (python: string, program: string) => spawnSync(python, ["-c", program]).status === 0;
const hasWiringPackages = (python: string) => succeeds(python, "import gpiozero, smbus2, serial");
// The distribution's own interpreter sees the distribution's packages; another one in the path may not.
const python = ["python3", "/usr/bin/python3"].find(hasWiringPackages) ?? "python3";
const hasPython = succeeds(python, "import sys; sys.exit(sys.version_info < (3, 9))");
const unlessAbsent = hasPython ? "" : " (skipped: no python3, or one before 3.9)";
const canTestWiring = hasPython && hasWiringPackages(python);
const unlessWithoutPackages = canTestWiring
  ? ""
  : " (those of the wiring skipped: no python3 with python3-gpiozero, python3-smbus2 and python3-serial)";

/** The classes of tests in the folder, each with its number of tests. */
function pythonTests(): Readonly<Record<string, number>> {
  const list = [
    "import collections, json, unittest",
    "def cases(suite): return [suite] if isinstance(suite, unittest.TestCase) else [one for part in suite for one in cases(part)]",
    "found = cases(unittest.defaultTestLoader.discover('.'))",
    "print(json.dumps(collections.Counter(type(one).__module__ + '.' + type(one).__qualname__ for one in found)))",
  ].join("\n");
  const { stdout, stderr } = spawnSync(python, ["-B", "-c", list], { cwd: folder, encoding: "utf8" });
  if (stdout === "") throw new Error(stderr);
  return JSON.parse(stdout);
}

/** @returns how many tests it ran or skipped, and how many it skipped; rejects with its output if one failed */
async function runPythonTests(names: readonly string[]): Promise<{ readonly ran: number; readonly skipped: number }> {
  const tests = spawn(python, ["-B", "-m", "unittest", ...names], { cwd: folder });
  let output = "";
  tests.stderr.on("data", (text: Buffer) => {
    output += text;
  });
  const status = await exitOf(tests);
  if (status !== 0) throw new Error(output);
  const count = (pattern: RegExp) => Number(pattern.exec(output)?.[1] ?? 0);
  return { ran: count(/^Ran (\d+) tests?/m), skipped: count(/^OK \(skipped=(\d+)\)/m) };
}

// Most of it waits for processes to be killed and for reports to be repeated, so it all waits at the same time.
describe.skipIf(!hasPython)(`the feeder's agent${unlessAbsent}`, { concurrent: true }, () => {
  it(`passes its own tests${unlessWithoutPackages}`, { timeout: 300_000 }, async ({ expect }) => {
    const tests = pythonTests();
    const [slow, quick] = [/^test_kills\./, /^(?!test_kills\.)/].map((of) =>
      Object.keys(tests).filter((name) => of.test(name)),
    );
    const runs = await Promise.all([quick ?? [], ...(slow ?? []).map((name) => [name])].map(runPythonTests));
    const sum = (counts: readonly number[]) => counts.reduce((all, count) => all + count, 0);
    const ran = sum(runs.map((run) => run.ran));
    expect(ran).toBe(sum(Object.values(tests)));
    expect(ran).toBeGreaterThanOrEqual(10);
    expect(sum(runs.map(({ skipped }) => skipped)) > 0).toBe(!canTestWiring);
  });

  it("reports by the contract, carries out a pause and ends cleanly", { timeout: 60_000 }, async (test) => {
    const { expect } = test;
    const api = await listen();
    const data = mkdtempSync(join(tmpdir(), "pieward-agent-"));
    const keyFile = join(data, "feeder.key");
    writeFileSync(keyFile, "the-key\n", { mode: 0o600 });
    const args = ["-B", "agent.py", "--url", api.url, "--key-file", keyFile, "--data", join(data, "state")];
    const agent = spawn(python, args, { cwd: folder });
    test.onTestFinished(() => {
      agent.kill("SIGKILL");
      api.server.close();
      rmSync(data, { recursive: true });
    });
    const ended = exitOf(agent);
    await Promise.race([api.confirmed, ended.then((status) => Promise.reject(new Error(`ended with ${status}`)))]);
    agent.kill("SIGTERM");
    expect(await ended).toBe(0);
    expect(api.problems).toEqual([]);
    expect(api.keys).toEqual(new Set(["Bearer the-key"]));
    expect(api.seen.has("visit")).toBe(true);
  });
});

describe.skipIf(!hasPython)(`the feeder's agent with the real server${unlessAbsent}`, () => {
  it("reports a portion that a power cut ended as cut short, and the keeper sees it", { timeout: 60_000 }, async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const agent = await agentFor(server, key);

    agent.start("b-1");
    await agent.until(() => agent.runs("b-1") > 0, "the motor to start");
    await agent.kill();

    agent.start("b-quiet"); // no bird comes
    const stored = async () =>
      (await server.store.records.events(feeder.id, 0 as never, (server.clock.now() + 60_000) as never, 1_000)).map(
        (event) => ({
          boot: event.boot,
          ...(JSON.parse(event.body) as {
            kind: string;
            cutShort?: boolean;
            motorMs?: number | null;
            paysFor?: number;
          }),
        }),
      );
    await agent.until(async () => (await stored()).some(({ kind }) => kind === "portion"), "the portion");
    await agent.kill();
    const portions = (await stored()).filter(({ kind }) => kind === "portion");
    expect(portions).toMatchObject([{ boot: "b-1", cutShort: true, motorMs: null, paysFor: 1 }]);

    const day = (
      await server.app.inject({ url: `/api/v1/feeders/${feeder.id}/day?date=2026-01-15`, headers: server.keeper })
    ).json();
    const marks = (day.marks as { kind: string; detail: string }[]).filter(({ kind }) => kind !== "visit");
    expect(marks.map(({ kind, detail }) => `${kind} ${detail}`)).toContain("portion cut short");
    expect(marks.find(({ kind }) => kind === "deposit")?.detail).toBe("unpaid");
    const faults = async () => (await server.runPeriodicCheck(feeder.id)).alarms.map(({ fault }) => fault);
    expect(await faults()).toEqual([]);

    // Half a minute later the next report brings no other portion: then it counts as unpaid.
    server.clock.advance(seconds(60));
    agent.start("b-quiet-2");
    await agent.until(async () => (await faults()).length > 0, "the alarm");
    const unpaid = (await server.runPeriodicCheck(feeder.id)).alarms.find(({ fault }) => fault === "depositUnpaid");
    expect(unpaid?.reason).toContain("got no portion: the portion was interrupted");
  });

  it.each(["which sends its key", "which signs, without a clock and without sending its key"])(
    "carries out a pause over its live link, long before its next report: %s",
    {
      timeout: 60_000,
    },
    async (how) => {
      const server = await openTestServer();
      const { key, feeder } = await server.addFeeder({ reportEverySeconds: 600 });
      const seen: (string | undefined)[] = [];
      server.app.server.on("request", ({ headers }) => seen.push(headers.authorization));
      server.app.server.on("upgrade", ({ headers }) => seen.push(headers.authorization));
      const agent = await agentFor(server, key);
      const signs = how.includes("signs");
      agent.start("b-quiet", signs ? ["--sign", feeder.id] : []);
      const isLinked = () => server.sockets.sendOrders(feeder.id, []);
      await agent.until(isLinked, "the live link");
      const row = async () =>
        (await server.app.inject({ url: `/api/v1/feeders/${feeder.id}`, headers: server.keeper })).json();
      await agent.until(async () => (await row()).lastReportAt !== null, "the first report");
      await server.app.inject({
        method: "POST",
        url: `/api/v1/feeders/${feeder.id}/orders`,
        headers: server.keeper,
        payload: { id: "pause-0001", kind: "pause", until: null },
      });
      await agent.until(async () => (await row()).pause.order?.status === "confirmed", "the answer to the pause");
      // Without the link it would take ten minutes; `until` waits for twenty seconds.
      expect(seen.some((authorization) => authorization?.includes(key))).toBe(!signs);
      expect(seen.some((authorization) => authorization?.includes("mac="))).toBe(signs);
    },
  );

  it("gives the portions of a bench run, and answers when it has given them", { timeout: 60_000 }, async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder({ reportEverySeconds: 600 });
    const agent = await agentFor(server, key);
    const ticking = setInterval(() => server.clock.advance(seconds(0.1)), 100);
    onTestFinished(() => clearInterval(ticking));
    agent.start("b-quiet");
    await agent.until(() => server.sockets.sendOrders(feeder.id, []), "the live link");
    const url = `/api/v1/feeders/${feeder.id}/bench`;
    const bench = async () => (await server.app.inject({ url, headers: server.keeper })).json() as BenchView;
    const what = { kind: "start", quietMinutes: 0, portions: 2, caps: 0, presses: 0, knownGrams: null, soakHours: 0 };
    const plan = { run: "run-00000001", what };
    await agent.until(
      async () =>
        (await server.app.inject({ method: "POST", url, headers: server.keeper, payload: plan })).statusCode === 200,
      "the start",
    );
    const now = async () => (await bench()).current?.steps.find(({ status }) => status === "now");
    await agent.until(async () => (await now())?.count?.seen === 1, "the first portion");
    await agent.until(async () => (await now())?.kind === "weigh", "the answer after the last portion");
    expect(agent.runs("b-quiet")).toBe(2);
    const motor = (await bench()).current?.figures.find(({ label }) => label === "Motor runs");
    expect(motor).toMatchObject({ status: "met", value: "2 of 2" });

    const stop = { run: plan.run, what: { kind: "stop" } };
    await server.app.inject({ method: "POST", url, headers: server.keeper, payload: stop });
    const payload = { run: "run-00000002", what: { ...what, portions: 50 } };
    await server.app.inject({ method: "POST", url, headers: server.keeper, payload });
    await agent.until(() => agent.runs("b-quiet") === 3, "the motor to start again");
    await agent.kill(); // a power cut in the middle of a portion
    agent.start("b-quiet-2");
    await agent.until(async () => (await now())?.kind === "weigh", "the answer after the power cut");
    const cut = (await bench()).current?.figures.filter(({ status }) => status === "notMet") ?? [];
    expect(cut.map(({ label }) => label)).toEqual(expect.arrayContaining(["Motor runs", "Restarts"]));
    expect(cut[0]?.reason).toContain("The feeder started again after 1 of 50 portions");
  });

  it("carries out a pause and first reports that it is paused when it starts again", { timeout: 60_000 }, async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const agent = await agentFor(server, key);
    agent.start("b-1");
    await agent.until(() => agent.runs("b-1") > 0, "the motor to start");
    await agent.kill();
    const request = await server.app.inject({
      method: "POST",
      url: `/api/v1/feeders/${feeder.id}/orders`,
      headers: server.keeper,
      payload: { id: "pause-0001", kind: "pause", until: null },
    });
    expect(request.statusCode, request.body).toBeLessThan(300);
    agent.start("b-2");
    const status = async () => (await server.runPeriodicCheck(feeder.id)).pause.order?.status;
    await agent.until(async () => (await status()) === "confirmed", "the answer to the pause");
    await agent.kill();
    agent.start("b-3");
    await agent.until(() => agent.output().includes("b-3"), "the start");
    await new Promise<void>((resolve) => setTimeout(resolve, 1_500)); // birds of the process press meanwhile
    expect(agent.runs("b-3")).toBe(0);
    expect(await status()).toBe("confirmed");
  });
});

/** The agent as a process of its own, killed as by a power cut, with a motor that records its runs. */
async function agentFor(server: TestServer, key: string) {
  const url = await server.app.listen({ host: "127.0.0.1", port: 0 });
  const home = mkdtempSync(join(tmpdir(), "pieward-agent-"));
  onTestFinished(() => rmSync(home, { recursive: true, force: true }));
  writeFileSync(join(home, "feeder.key"), key, { mode: 0o600 });
  let child: ChildProcess | null = null;
  let output = "";
  const runsOf = (boot: string) => join(home, `${boot}.runs`);
  const kill = async () => {
    if (child === null || child.exitCode !== null || child.signalCode !== null) return;
    const ended = exitOf(child);
    child.kill("SIGKILL");
    await ended;
  };
  onTestFinished(kill);
  return {
    start(boot: string, options: readonly string[] = []) {
      const args = ["--url", url, "--key-file", join(home, "feeder.key"), "--data", join(home, "data"), "--wired"];
      child = spawn(python, ["-B", "test_kills.py", "--feeder", boot, runsOf(boot), ...args, ...options], {
        cwd: folder,
        env: { ...process.env, FEEDER_BIRDS: "caps" },
      });
      child.stderr?.on("data", (text: Buffer) => {
        output += text;
      });
    },
    kill,
    output: () => output,
    runs: (boot: string) => (existsSync(runsOf(boot)) ? readFileSync(runsOf(boot), "utf8").split("on").length - 1 : 0),
    async until(holds: () => boolean | Promise<boolean>, what: string) {
      const end = Date.now() + 20_000;
      while (!(await holds())) {
        if (child?.exitCode != null || Date.now() > end) throw new Error(`waited for ${what}; its output:\n${output}`);
        await new Promise<void>((resolve) => setTimeout(resolve, 10));
      }
    },
  };
}

const exitOf = (child: ChildProcess) => new Promise<number | null>((resolve) => child.once("exit", resolve));

/** A report API that orders a pause once it has seen an event, and is done when the feeder confirms it. */
async function listen() {
  const problems: string[] = [];
  const seen = new Set<string>();
  const keys = new Set<string | undefined>();
  let content = () => {};
  const confirmed = new Promise<void>((resolve) => {
    content = resolve;
  });
  let proven = false;

  const take = (body: string): Answer => {
    const report = reportSchema.safeParse(JSON.parse(body));
    if (!report.success) problems.push(report.error.message);
    const events = (report.data?.events ?? []) as { seq: number; kind: string }[];
    for (const event of events) {
      seen.add(event.kind);
      const schema = eventSchemas[event.kind as keyof typeof eventSchemas];
      const strict = schema?.safeParse(event);
      if (!strict?.success) problems.push(`${event.kind}: ${strict?.error.message ?? "unknown kind"}`);
      if (event.kind === "order") proven = true;
    }
    if (proven && report.data?.readings?.paused === true) content();
    return {
      storedThrough: events.at(-1)?.seq ?? null,
      duplicates: 0,
      refused: [],
      unknown: [],
      serverTime: new Date().toISOString(),
      nextReportSeconds: 1,
      orders: seen.size > 0 ? [{ id: "pause-1", kind: "pause", until: null }] : [],
    };
  };

  const server: Server = createServer((request, response) => {
    const parts: Buffer[] = [];
    keys.add(request.headers.authorization);
    if (request.method !== "POST") {
      response.writeHead(404).end(); // The live link, which this API doesn't have; the agent goes on by reports alone.
      return;
    }
    request.on("data", (part: Buffer) => parts.push(part));
    request.on("end", () => {
      response.setHeader("content-type", "application/json");
      response.end(JSON.stringify(take(Buffer.concat(parts).toString())));
    });
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  const { port } = server.address() as AddressInfo;
  return { server, url: `http://127.0.0.1:${port}`, problems, seen, keys, confirmed };
}
