import { execFileSync } from "node:child_process";
import { existsSync, lstatSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { brokenBoundaries, type Import, type Module, projectFolder, readImports } from "./support/imports.ts";
import { findImpurities } from "./support/impurity.ts";

/**
 * The project's rules as data: which module may import which, what the domain never mentions, how long a file may be. A new
 * module is a new line with its reason. Every check is shown a planted fault, since a check that reads nothing passes too.
 */
const modules: readonly Module[] = [
  {
    name: "start",
    files: /^server\/(main|app|dataFiles|keeper|comparisonThread)\.ts$/,
    mayImport: [
      "config",
      "contract",
      "domain",
      "ports",
      "flows",
      "flows' pure part",
      "adapters",
      "routes",
      "practice",
      "practice programme",
    ],
    libraries: "any",
    reason: "assembles the server and may know every module",
  },
  {
    name: "config",
    files: /^server\/config\.ts$/,
    mayImport: [],
    libraries: ["zod", "node:path"],
    reason: "only reads variables",
  },
  {
    name: "ports",
    files: /^server\/ports(\/\w+)?\.ts$/,
    mayImport: ["domain"],
    mayImportTypesOf: ["contract"],
    libraries: [],
    reason: "says what flows need from outside, in the domain's terms",
  },
  {
    name: "contract",
    files: /^server\/contract\//,
    mayImport: ["domain"],
    libraries: ["zod"],
    reason: "is shared with the client and the practice feeders, so it brings no other module with it",
  },
  {
    name: "text",
    files: /^server\/text\//,
    mayImport: [],
    libraries: [],
    reason: "is what people read, by language: values come in as arguments, so it needs no other module",
  },
  {
    name: "domain",
    files: /^server\/domain\//,
    mayImport: ["text"],
    libraries: ["suncalc", "temporal-polyfill"], // all pure: values in, values out
    reason: "is pure: it imports nothing but itself, its texts and libraries that only compute",
  },
  {
    name: "practice yard",
    files: /^server\/practice\/yard\.ts$/,
    mayImport: ["contract", "domain"],
    libraries: [],
    reason: "is what flows must know of practice feeders, and no more",
  },
  {
    name: "feeder model",
    files: /^server\/practice\/(model\/\w+|random)\.ts$/,
    mayImport: ["domain"],
    libraries: ["suncalc"],
    reason: "is the pure physics that practice feeders, simulator and tests share, so it knows none of them",
  },
  {
    name: "practice",
    files: /^server\/practice\//,
    mayImport: ["contract", "domain", "practice yard", "feeder model"],
    libraries: ["zod", "node:util"], // its own command line is read with node:util
    reason: "is a client of the server: it reports over HTTP as any feeder does",
  },
  {
    name: "replay",
    files: /^server\/replay\//,
    mayImport: ["contract", "domain", "flows' pure part"],
    libraries: ["zod", "node:fs", "node:readline", "node:events", "node:util"], // it reads one file and its command line
    reason: "replays a log with the server's own steps, and stores nothing",
  },
  {
    name: "flows' pure part",
    files: /^server\/flows\/pure\//,
    mayImport: ["contract", "domain", "text"],
    mayImportTypesOf: ["ports"],
    libraries: ["zod"],
    reason: "is what server and replay have in common: it uses nothing outside, not even ports",
  },
  {
    name: "practice programme",
    files: /^server\/flows\/practiceProgramme\.ts$/,
    mayImport: ["domain", "text", "contract", "ports", "flows", "practice yard", "practice"],
    libraries: ["node:crypto"],
    reason: "lives a training programme with simulated birds, through the flows that real reports and keepers use",
  },
  {
    name: "flows",
    files: /^server\/flows\/(?!practiceProgramme\.ts)/,
    mayImport: ["domain", "text", "contract", "ports", "practice yard", "flows' pure part", "replay"], // a damaged state is replayed
    libraries: ["zod", "node:crypto", "@node-rs/argon2", "@simplewebauthn/server"], // names, keys, passphrases and passkeys are computed, not fetched
    reason: "uses the outside only through ports",
  },
  {
    name: "adapters",
    files: /^server\/adapters\/(?!practiceRunner\.ts)/,
    mayImport: ["ports", "domain", "contract"],
    libraries: "any",
    reason: "stands for one outside thing and decides nothing, so it needs no flow and no route",
  },
  {
    name: "practice runner",
    files: /^server\/adapters\/practiceRunner\.ts$/,
    mayImport: ["ports", "domain", "contract", "practice", "practice yard"],
    libraries: [],
    reason: "runs practice feeders for the server",
  },
  {
    name: "routes",
    files: /^server\/routes\//,
    mayImport: ["flows", "flows' pure part", "domain", "text", "contract", "ports"],
    mayImportTypesOf: ["adapters", "practice programme"], // a socket is handed on by its own type
    libraries: "any",
    reason: "parses, runs one flow and answers; what is behind a port is not its concern",
  },
  {
    name: "client's build",
    files: /^client\/build\//,
    mayImport: [],
    libraries: "any",
    reason: "runs on the builder's machine only",
  },
  {
    name: "client",
    files: /^client\//,
    mayImport: [],
    mayImportTypesOf: ["contract", "domain"],
    libraries: ["preact", "@preact/signals", "preact-iso", "@simplewebauthn/browser"],
    reason: "runs on a phone: of the server it may know types, which are gone when it is built",
  },
];
/** `may: ["adapters"]` means all of them. */
const whole: Readonly<Record<string, readonly string[]>> = {
  adapters: ["adapters", "practice runner"],
  practice: ["practice", "practice yard", "feeder model"],
};
const boundaries = modules.map((module) => ({
  ...module,
  mayImport: module.mayImport.flatMap((name) => whole[name] ?? [name]),
}));

/** What would make the same facts give another answer tomorrow, or make the caller wait. */
const impure: Readonly<Record<string, string>> = {
  "Date.now": "time is handed in, so that a winter can be replayed in a second",
  "new Date()": "time is handed in, so that a winter can be replayed in a second",
  "performance.now": "time is handed in, so that a winter can be replayed in a second",
  "Temporal.Now": "time is handed in, so that a winter can be replayed in a second",
  "Math.random": "random numbers are handed in, or replay and simulation would differ",
  crypto: "random numbers are handed in, or replay and simulation would differ",
  async: "a step that waits can be overtaken by the next fact",
  await: "a step that waits can be overtaken by the next fact",
  Promise: "a step that waits can be overtaken by the next fact",
  setTimeout: "what is due is a value; the periodic check acts when it comes due",
  setInterval: "what is due is a value; the periodic check acts when it comes due",
  process: "the environment is read once, by config",
  globalThis: "state comes in and goes out as a value",
  fetch: "the outside is the adapters' business",
  console: "what there is to say is returned",
};

const lineLimit = 400;
/** A file past the limit stands on this list with its reason, or is split. */
const longFiles: Readonly<Record<string, string>> = {
  "deploy/feeder/agent.py": "all tasks of a feeder, in the one loop that they share",
  "deploy/feeder/test_agent.py": "tests that one file",
  "test/domain/advanceFeeder.test.ts": "one feeder's stories through the one step in which all meaning meets",
  "test/domain/silence/sensorFaults.test.ts": "one feeder's winters, with the yard in which they happen",
};

const scratch = mkdtempSync(join(tmpdir(), "pieward-rules-"));
afterAll(() => rmSync(scratch, { recursive: true, force: true }));

describe("the module boundaries", { timeout: 60_000 }, () => {
  let imports: Import[];
  beforeAll(async () => {
    imports = await readImports(projectFolder, ["server", "client"]);
  }, 60_000);

  it("are checked: the reader has really read the project", () => {
    const files = new Set(imports.map(({ from }) => from));
    expect(files.size).toBeGreaterThan(60);
    for (const module of boundaries) {
      const known = [...files, ...imports.map(({ to }) => to)];
      expect(
        known.some((file) => module.files.test(file)),
        `${module.name} has no file`,
      ).toBe(true);
    }
  });

  it("allow no library that the module doesn't import", () => {
    const unused = modules.flatMap(({ name, files, libraries }) => {
      if (libraries === "any") return [];
      const taken = new Set(imports.filter(({ from }) => files.test(from)).map(({ to }) => to));
      return libraries.filter((library) => !taken.has(library)).map((library) => `${name}: ${library}`);
    });
    expect(unused).toEqual([]);
  });

  it("hold: imports point one way", () => {
    expect(brokenBoundaries(boundaries, imports)).toEqual([]);
  });

  it.each<[string, string, Import["kind"], "types" | "values"]>([
    ["server/domain/sun.ts", "server/ports.ts", "file", "types"],
    ["server/text/en/faults.ts", "server/domain/faults.ts", "file", "types"],
    ["server/text/format.ts", "temporal-polyfill", "library", "values"],
    ["server/domain/sun.ts", "server/contract/report.ts", "file", "values"],
    ["server/domain/sun.ts", "zod", "library", "values"],
    ["server/domain/sun.ts", "node:fs", "node", "values"],
    ["server/flows/periodicCheck.ts", "server/adapters/webPush.ts", "file", "types"],
    ["server/flows/periodicCheck.ts", "server/practice/run.ts", "file", "values"],
    ["server/flows/periodicCheck.ts", "web-push", "library", "values"],
    ["server/flows/pure/takeReport.ts", "server/ports.ts", "file", "values"],
    ["server/flows/pure/takeReport.ts", "server/flows/ingest.ts", "file", "types"],
    ["server/routes/live.ts", "server/adapters/liveBrowsers.ts", "file", "values"],
    ["server/routes/live.ts", "server/practice/yard.ts", "file", "values"],
    ["server/adapters/webPush.ts", "server/flows/outbox.ts", "file", "types"],
    ["server/adapters/webPush.ts", "server/practice/run.ts", "file", "values"],
    ["server/practice/run.ts", "server/ports.ts", "file", "types"],
    ["server/practice/model/tray.ts", "server/practice/world.ts", "file", "types"],
    ["server/practice/model/tray.ts", "server/contract/report.ts", "file", "types"],
    ["server/practice/random.ts", "node:util", "node", "values"],
    ["server/replay/replay.ts", "server/flows/ingest.ts", "file", "types"],
    ["server/replay/replay.ts", "server/ports.ts", "file", "types"],
    ["server/contract/api.ts", "server/flows/days.ts", "file", "types"],
    ["server/contract/api.ts", "fastify", "library", "values"],
    ["server/config.ts", "server/domain/instant.ts", "file", "values"],
    ["server/ports.ts", "server/contract/api.ts", "file", "values"],
    ["client/app.tsx", "server/contract/api.ts", "file", "values"],
    ["client/app.tsx", "server/flows/days.ts", "file", "types"],
    ["client/app.tsx", "zod", "library", "values"],
    ["server/attic/box.ts", "server/domain/sun.ts", "file", "values"],
  ])("stop %s from importing %s (%s, %s)", (from, to, kind, what) => {
    const planted = { from, to, kind, typeOnly: what === "types" };
    expect(brokenBoundaries(boundaries, [planted])).toEqual([expect.stringContaining(from)]);
  });

  it("let pass what they should", () => {
    const fine: Import[] = [
      { from: "client/app.tsx", to: "server/contract/api.ts", kind: "file", typeOnly: true },
      { from: "server/routes/live.ts", to: "server/adapters/liveBrowsers.ts", kind: "file", typeOnly: true },
      { from: "server/main.ts", to: "server/adapters/practiceRunner.ts", kind: "file", typeOnly: false },
    ];
    expect(brokenBoundaries(boundaries, fine)).toEqual([]);
  });

  it("are seen by the reader in every form of import", async () => {
    write(
      "server/a.ts",
      'import type { B } from "./b.ts";\nimport { c } from "./c.ts";\nexport const a = (b: B) => b + c;\n',
    );
    write("server/b.ts", 'export type B = number;\nexport * from "./c.ts";\n');
    write("server/c.ts", 'export const c = 1;\nexport const later = () => import("node:fs/promises");\n');
    expect(await readImports(scratch, ["server"])).toEqual([
      { from: "server/a.ts", to: "server/b.ts", kind: "file", typeOnly: true },
      { from: "server/a.ts", to: "server/c.ts", kind: "file", typeOnly: false },
      { from: "server/b.ts", to: "server/c.ts", kind: "file", typeOnly: false },
      { from: "server/c.ts", to: "node:fs", kind: "node", typeOnly: false },
    ]);
    write("server/c.ts", 'export { d } from "./d.ts";\n');
    await expect(readImports(scratch, ["server"])).rejects.toThrow("server/c.ts imports ./d.ts, which isn't there");
  });
});

describe("the domain with its texts", () => {
  it("is pure: no clock, no random source, no waiting, no outside", () => {
    const files = ourFiles().filter((path) => /^server\/(domain|text)\//.test(path));
    expect(files.length).toBeGreaterThan(30);
    expect(files.flatMap((path) => findImpurities(path, read(path), impure))).toEqual([]);
  });

  it.each([
    ["const t = Date.now();", "Date.now"],
    ["const t = new Date();", "new Date()"],
    ["const t = new Date;", "new Date()"],
    ["const d = Math . random ();", "Math.random"],
    ["const random = Math.random;", "Math.random"],
    ["export async function f() {}", "async"],
    ["for await (const x of y) {}", "await"],
    ["const f = () => Promise.resolve(1);", "Promise"],
    ["setTimeout(f, 1);", "setTimeout"],
    ["const zone = process.env.TZ;", "process"],
    ["const late = (t = Date.now()) => t;", "Date.now"],
    ["const t = Temporal.Now.instant();", "Temporal.Now"],
  ])("would be caught at `%s`", (code, what) => {
    expect(findImpurities("planted.ts", `\n${code}`, impure)).toContain(`planted.ts:2 uses ${what}: ${impure[what]}`);
  });

  it("may name such things in comments, strings and names of its own", () => {
    const innocent =
      '// await Date.now()\nconst say = "process";\nconst at = new Date(0);\nconst x = { process: say, at };\nx.process;';
    expect(findImpurities("innocent.ts", innocent, impure)).toEqual([]);
  });
});

describe("our files", () => {
  const sourceFiles = () => ourFiles().filter((path) => /\.(ts|tsx|mjs|js|css|py|prisma)$/.test(path));

  it("are at most as long as the limit", () => {
    expect(sourceFiles().length).toBeGreaterThan(100);
    expect(tooLong(sourceFiles(), lineLimit, longFiles)).toEqual([]);
  });

  it("leave the list of long ones once they are short", () => {
    expect(
      Object.keys(longFiles).filter((path) => !existsSync(join(projectFolder, path)) || lines(path) <= lineLimit),
    ).toEqual([]);
  });

  it("would be caught when too long", () => {
    expect(tooLong(["package-lock.json"], lineLimit, {})).toHaveLength(1);
    expect(tooLong(["package-lock.json"], lineLimit, { "package-lock.json": "npm writes it" })).toEqual([]);
  });

  it("name no path of a developer's machine and no package registry", () => {
    expect(ourFiles().flatMap((path) => strayPlaces(path, read(path)))).toEqual([]);
  });

  it.each([
    ["server/x.ts", `const where = "/${"work"}/main/x";`],
    ["deploy/x.conf", `root /${"home"}/somebody/pieward;`],
    ["server/x.ts", `const scratch = "/${"tmp"}/x";`],
    ["package-lock.json", `"resolved": "https://${["registry", "npmjs", "org"].join(".")}/x/-/x-1.0.0.tgz"`],
    [".npmrc", `${"registry"}=https://packages.example/npm/`],
  ])("would be caught in %s at `%s`", (path, text) => {
    expect(strayPlaces(path, text)).toHaveLength(1);
  });
});

/** What is in git. */
function ourFiles(): string[] {
  const listed = execFileSync("git", ["ls-files", "-z"], {
    cwd: projectFolder,
    encoding: "utf8",
    maxBuffer: 16 * 1024 * 1024,
  });
  return listed.split("\0").filter((path) => path !== "" && isPlainFile(join(projectFolder, path)));
}

function isPlainFile(path: string): boolean {
  return existsSync(path) && lstatSync(path).isFile();
}

const read = (path: string) => readFileSync(join(projectFolder, path), "utf8");
const lines = (path: string) => read(path).split("\n").length - 1;

function tooLong(paths: readonly string[], limit: number, excused: Readonly<Record<string, string>>): string[] {
  return paths
    .filter((path) => lines(path) > limit && !Object.hasOwn(excused, path))
    .map((path) => `${path} has ${lines(path)} lines: split it, or list it with its reason`);
}

function strayPlaces(path: string, text: string): string[] {
  const places = [
    /(?<![\w./-])\/(work|root|Users)\/\w[\w./-]*/g,
    /(?<![\w./-])\/home\/[a-z][\w-]*/g,
    /registry\.\w+\.\w+/g,
  ];
  if (path.endsWith("npmrc")) places.push(/registry\s*=\s*\S+/g);
  // Tests may have a scratch folder; what runs at a keeper's home has none.
  if (!path.startsWith("test/") && path !== ".ci/run") places.push(/(?<![\w.-])\/tmp\/\w[\w./-]*/g);
  return places.flatMap((place) => [...text.matchAll(place)].map(([found]) => `${path} names ${found}`));
}

function write(path: string, text: string): void {
  mkdirSync(join(scratch, dirname(path)), { recursive: true });
  writeFileSync(join(scratch, path), text);
}
