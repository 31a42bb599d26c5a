import { spawn } from "node:child_process";
import { createServer, type Server } from "node:http";
import type { AddressInfo } from "node:net";
import { afterEach, describe, expect, it } from "vitest";
import { reportSchema } from "../../server/contract/report.ts";
import { readCommandLine } from "../../server/practice/commandLine.ts";

describe("the practice command line", () => {
  it("names every problem at once", () => {
    const read = readCommandLine([
      "--url",
      "ftp://x",
      "--feeder",
      "Rowan",
      "--fault",
      "weakBattery",
      "--seed",
      "many",
      "--minutes",
      "0",
    ]);
    expect(read).toEqual({
      kind: "wrong",
      problems: [
        "--url: must be an http: or https: address",
        "--key: the feeder's key is needed; the server shows it when the feeder is added",
        `--fault: Rowan can't have "weakBattery"`,
        `--seed: must be a number from 0 to 4294967295, got "many"`,
        `--minutes: must be a number from 0.05 to 100000, got "0"`,
      ],
    });
  });

  it("knows no option that it doesn't name", () => {
    expect(readCommandLine(["--key", "k", "--speed", "9"]).kind).toBe("wrong");
  });

  it("takes the feeder that can have the fault", () => {
    expect(readCommandLine(["--key", "k", "--fault", "weakBattery"])).toMatchObject({
      line: { settings: { name: "Larch" } },
    });
  });

  it("has sensible defaults for what is left out", () => {
    expect(readCommandLine(["--key", "k"])).toMatchObject({
      kind: "read",
      line: { url: "http://127.0.0.1:8080", fault: "none", seed: 7, duration: null, settings: { name: "Rowan" } },
    });
  });
});

describe("npm run practice", () => {
  let server: Server | undefined;
  afterEach(() => server?.close());

  it("reports over real HTTP, prints what it does, and ends cleanly on SIGTERM", { timeout: 30_000 }, async () => {
    const reports: unknown[] = [];
    const first = deferred();
    server = createServer((request, response) => {
      const parts: Buffer[] = [];
      request.on("data", (part: Buffer) => parts.push(part));
      request.on("end", () => {
        const report = reportSchema.parse(JSON.parse(Buffer.concat(parts).toString()));
        reports.push(report);
        const last = report.events?.at(-1) as { seq: number } | undefined;
        response.setHeader("content-type", "application/json");
        response.end(
          JSON.stringify({
            storedThrough: last?.seq ?? null,
            duplicates: 0,
            refused: [],
            serverTime: new Date().toISOString(),
            nextReportSeconds: 5,
            orders: [],
          }),
          () => first.resolve(),
        );
      });
    });
    await new Promise<void>((resolve) => server?.listen(0, "127.0.0.1", resolve));
    const { port } = server.address() as AddressInfo;
    const args = ["--url", `http://127.0.0.1:${port}`, "--key", "k", "--fault", "trayJammed", "--history", "1"];
    const child = spawn(process.execPath, ["--import", "tsx", "server/practice/main.ts", ...args]);
    let output = "";
    child.stdout.on("data", (text: Buffer) => {
      output += text;
    });
    child.stderr.on("data", (text: Buffer) => {
      output += text;
    });
    const ended = new Promise<number | null>((resolve) => child.once("exit", resolve));
    await Promise.race([first.promise, ended]);
    child.kill("SIGTERM");
    expect(await ended, output).toBe(0);
    expect(reports.length).toBeGreaterThan(0);
    expect(output).toContain('Rowan now has the fault "trayJammed"');
    expect(output).toContain("The practice feeder is off.");
  });
});

function deferred(): { readonly promise: Promise<void>; resolve(): void } {
  let resolve = () => {};
  const promise = new Promise<void>((done) => {
    resolve = done;
  });
  return { promise, resolve: () => resolve() };
}
