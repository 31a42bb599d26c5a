import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { createServer, type Server } from "node:http";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, describe, expect, it } from "vitest";
import { type Answer, eventSchemas, reportSchema } from "../../server/contract/report.ts";

const folder = "deploy/feeder";
const version = spawnSync("python3", ["-c", "import sys; print(sys.version_info >= (3, 9))"], { encoding: "utf8" });
const hasPython = version.status === 0 && version.stdout.trim() === "True";
const unlessAbsent = hasPython ? "" : " (skipped: no python3, or one before 3.9)";

describe.skipIf(!hasPython)(`the feeder's agent${unlessAbsent}`, () => {
  it("passes its own tests", { timeout: 120_000 }, async () => {
    const tests = spawn("python3", ["-B", "-m", "unittest"], { cwd: folder });
    let said = "";
    tests.stderr.on("data", (text: Buffer) => {
      said += text;
    });
    const status = await new Promise<number | null>((resolve) => tests.once("exit", resolve));
    expect(status, said).toBe(0);
    expect(said).toMatch(/Ran \d\d tests/);
  });

  it("speaks as the contract says, obeys a pause and ends clean", { timeout: 60_000 }, async () => {
    const door = await listen();
    const data = mkdtempSync(join(tmpdir(), "pieward-agent-"));
    const keyFile = join(data, "feeder.key");
    writeFileSync(keyFile, "the-key\n", { mode: 0o600 });
    const words = ["-B", "agent.py", "--url", door.url, "--key-file", keyFile, "--data", join(data, "state")];
    const agent = spawn("python3", words, { cwd: folder });
    cleanUp.push(() => {
      agent.kill("SIGKILL");
      door.server.close();
      rmSync(data, { recursive: true });
    });
    const ended = exitOf(agent);
    await Promise.race([door.obeyed, ended.then((status) => Promise.reject(new Error(`ended with ${status}`)))]);
    agent.kill("SIGTERM");
    expect(await ended).toBe(0);
    expect(door.problems).toEqual([]);
    expect(door.keys).toEqual(new Set(["Bearer the-key"]));
    expect(door.seen.has("visit")).toBe(true);
  });
});

const cleanUp: (() => void)[] = [];
afterAll(() => {
  for (const act of cleanUp) act();
});

const exitOf = (child: ChildProcess) => new Promise<number | null>((resolve) => child.once("exit", resolve));

/** A report door that orders a pause once it has seen an event, and is content when the feeder proves it. */
async function listen() {
  const problems: string[] = [];
  const seen = new Set<string>();
  const keys = new Set<string | undefined>();
  let content = () => {};
  const obeyed = new Promise<void>((resolve) => {
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
    request.on("data", (part: Buffer) => parts.push(part));
    request.on("end", () => {
      response.setHeader("content-type", "application/json");
      response.end(JSON.stringify(take(Buffer.concat(parts).toString())));
    });
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  const { port } = server.address() as AddressInfo;
  return { server, url: `http://127.0.0.1:${port}`, problems, seen, keys, obeyed };
}
