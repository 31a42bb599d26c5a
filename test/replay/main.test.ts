import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { iso, keeper, report } from "./lines.ts";

/** The program itself, from its sources, in its own process. */
function run(files: Record<string, string>, ...args: string[]) {
  const folder = mkdtempSync(join(tmpdir(), "pieward-replay-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  for (const [name, text] of Object.entries(files)) writeFileSync(join(folder, name), text);
  const main = join(import.meta.dirname, "../../server/replay/main.ts");
  const tsx = import.meta.resolve("tsx");
  const { status, stdout, stderr } = spawnSync(process.execPath, ["--import", tsx, main, ...args], {
    cwd: folder,
    encoding: "utf8",
  });
  return { status, out: stdout.trimEnd().split("\n"), err: stderr.trimEnd().split("\n") };
}

describe("npm run replay", { timeout: 60_000 }, () => {
  it("outputs the results of a log, a line each", () => {
    const log = `${[keeper(0, { refill: { filled: true } }), report(1), report(2), report(900)].join("\r\n")}\n`;
    const files = {
      "log.ndjson": log,
      "rowan.json": JSON.stringify({ zone: "Europe/Stockholm", hopperCapacityGrams: 700 }),
    };
    const { status, out, err } = run(files, "log.ndjson", "--settings", "rowan.json", "--summary");
    expect(err).toEqual([""]);
    expect(status).toBe(0);
    const output = out.map((line) => JSON.parse(line));
    expect(output).toContainEqual(expect.objectContaining({ at: "2026-01-15T23:00:00.000Z", feeder: "rowan" }));
    expect(output.find((line) => "hopper" in line).hopper.grams).toBe(700);
    expect(output.at(-1)).toMatchObject({ summary: { from: iso(0), to: iso(900), reports: 3 } });
  });

  it("compares settings, and what another version saved", () => {
    const minutes = Array.from({ length: 120 }, (_, minute) => report(minute));
    const log = [...minutes, report(200)].join("\n");
    const files = { "log.ndjson": log, "slow.json": '{"reportEverySeconds":3600}' };
    const compared = run(files, "log.ndjson", "--compare", "slow.json");
    expect(compared.err).toEqual([""]);
    expect(compared.status).toBe(0);
    expect(compared.out.join("\n")).toMatch(/Only in A:\n {2}\S+ {2}feederSilent {2}urgent/);
    const savedHere = `${tmpdir()}/pieward-rings-${process.pid}.json`;
    onTestFinished(() => rmSync(savedHere, { force: true }));
    expect(run(files, "log.ndjson", "--save", savedHere).out.join("")).toMatch(/^saved: 1 rings and notes from /);
    const again = run(files, "log.ndjson", "--against", savedHere);
    expect(again.out.join("\n")).toMatch(/feederSilent {2}A {7}1 /);
    expect(again.out.join("\n")).not.toContain("Only in");
  });

  it("ends with 1 where a line could not be read, after the rest", () => {
    const { status, out, err } = run(
      { "log.ndjson": `${report(0)}\nnonsense\n${report(1)}` },
      "log.ndjson",
      "--summary",
    );
    expect(status).toBe(1);
    expect(err).toEqual([expect.stringMatching(/^line 2: \(the whole\): is no JSON/)]);
    expect(JSON.parse(String(out.at(-1)))).toMatchObject({ summary: { reports: 2 } });
  });

  it.each<[string, string[], RegExp]>([
    ["no log", [], /the log's file is missing/],
    ["a log that isn't there", ["none.ndjson"], /none\.ndjson/],
    ["a folder", ["."], /EISDIR/],
    ["an unknown option", ["log.ndjson", "--speed"], /--speed/],
    ["two logs", ["log.ndjson", "log.ndjson"], /one log at a time/],
    [
      "three settings to compare",
      ["log.ndjson", ..."aaa".split("").flatMap((name) => ["--compare", name])],
      /--compare: two/,
    ],
    [
      "two comparisons",
      ["log.ndjson", "--compare", "a.json", "--against", "b.json"],
      /--against: .* without --compare/,
    ],
    ["a file over the one to compare with", ["log.ndjson", "--save", "a", "--against", "a"], /--save: would overwrite/],
    ["wrong settings to compare", ["log.ndjson", "--compare", "bad.json"], /bad\.json: portionGrams: /],
    ["a record that is none", ["log.ndjson", "--against", "bad.json"], /bad\.json: piewardRings: must be 1/],
    ["settings that are no JSON", ["log.ndjson", "--settings", "log.txt"], /log\.txt: is no JSON/],
    ["settings that are wrong", ["log.ndjson", "--settings", "bad.json"], /bad\.json: portionGrams: /],
  ])("ends with 2 and a message where nothing can be replayed: %s", (_what, args, problem) => {
    const { status, out, err } = run(
      { "log.ndjson": report(0), "bad.json": '{"portionGrams":-1}', "log.txt": "no" },
      ...args,
    );
    expect(status).toBe(2);
    expect(out).toEqual([""]);
    expect(err.join("\n")).toMatch(problem);
    expect(err.join("\n")).not.toMatch(/^\s+at /m);
  });
});
