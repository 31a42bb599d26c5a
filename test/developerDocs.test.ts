import { execFileSync } from "node:child_process";
import { existsSync, readFileSync } from "node:fs";
import { dirname, join, normalize } from "node:path";
import { describe, expect, it } from "vitest";
import { declarationLine, withLines } from "./support/documentedLines.ts";
import { projectFolder } from "./support/imports.ts";

/** The documents name only files, declarations, links and commands that exist. Each check is shown a planted wrong name. */

const read = (file: string): string => readFileSync(join(projectFolder, file), "utf8");
const tracked = execFileSync("git", ["ls-files", "-co", "--exclude-standard"], { cwd: projectFolder })
  .toString()
  .split("\n")
  .filter((file) => file !== "" && existsSync(join(projectFolder, file)));

interface Document {
  readonly file: string;
  readonly text: string;
}
const documents: readonly Document[] = tracked
  .filter((file) => file.endsWith(".md"))
  .map((file) => ({ file, text: read(file) }));
const document = (file: string): string => documents.find((one) => one.file === file)?.text ?? "";

// --- names beside a file -------------------------------------------------------------------------------------------

interface NamedDeclaration {
  readonly path: string;
  readonly name: string;
}

const sourcePath = String.raw`((?:server|client|test|deploy|prisma)/[\w./-]+\.(?:tsx?|mjs|py))`;

/** As in "`path`: `name`, `other`" and as in "`name` in `path`" or "`name` (`path`)". */
function namedDeclarations(text: string): NamedDeclaration[] {
  const flat = text.replace(/\n\s*/g, " ");
  const after = [...flat.matchAll(new RegExp(`\`${sourcePath}\`: ((?:\`\\w+\`(?: \\d+)?(?:, )?)+)`, "g"))].flatMap(
    ([, path = "", names = ""]) => [...names.matchAll(/`(\w+)`/g)].map(([, name = ""]) => ({ path, name })),
  );
  const before = [...flat.matchAll(new RegExp(`\`(\\w+)\` (?:in |\\()\`${sourcePath}\``, "g"))].map(
    ([, name = "", path = ""]) => ({ path, name }),
  );
  return [...after, ...before];
}

const undeclared = (text: string): string[] =>
  namedDeclarations(text)
    .filter(({ path, name }) => !tracked.includes(path) || declarationLine(read(path), name) === null)
    .map(({ path, name }) => `${path}: ${name}`);

// --- files and links -----------------------------------------------------------------------------------------------

/** What lies in a data folder, on the feeder's card or on a keeper's machine, and not in the project. */
const elsewhere =
  /^(?:\.?\/?data|keys\.json|pieward\.db.*|damage.*|last-backup\.json|server\.env|state\.slots|spool\.damaged.*|log\.ndjson|dist\/.*|node_modules\/.*|\/.*)$/;
const isPath = (path: string): boolean =>
  /^(?:[\w.*-]+\/)+[\w.*-]*$/.test(path) || /^[\w*-]+\.(?:tsx?|mjs|json|py|md|service|timer|prisma|html)$/.test(path);

function missingFiles({ file, text }: Document): string[] {
  const paths = [...text.matchAll(/`([^`\s]+)`/g)].map(([, path = ""]) => path);
  return paths.filter((path) => isPath(path) && !elsewhere.test(path) && !exists(path, dirname(file)));
}

/** From the project's folder or from the document's own; `*` stands for a part of a name. */
function exists(path: string, folder: string): boolean {
  const pattern = (full: string) =>
    new RegExp(`^${full.replace(/[.+]/g, "\\$&").replaceAll("*", "[^/]*")}${full.endsWith("/") ? "" : "(?:/|$)"}`);
  return [path, normalize(join(folder, path))].some((full) => tracked.some((one) => pattern(full).test(one)));
}

const anchorOf = (heading: string): string =>
  heading
    .toLowerCase()
    .replace(/[^\w\- ]/g, "")
    .replaceAll(" ", "-");

function brokenLinks({ file, text }: Document): string[] {
  const links = [...text.matchAll(/\]\((?!https?:)([^)#\s]*)(?:#([^)\s]+))?\)/g)];
  return links.flatMap(([, path = "", anchor]) => {
    const target = path === "" ? file : normalize(join(dirname(file), path)).replace(/\/$/, "");
    if (!existsSync(join(projectFolder, target))) return [path];
    if (anchor === undefined) return [];
    const headings = [...read(target).matchAll(/^#+ (.+)$/gm)].map(([, heading = ""]) => anchorOf(heading));
    return headings.includes(anchor) ? [] : [`${path}#${anchor}`];
  });
}

// --- names and commands --------------------------------------------------------------------------------------------

const words: ReadonlySet<string> = new Set(
  tracked
    .filter((file) => /\.(?:tsx?|mjs|js|json|py|prisma|sql|css|html|service)$/.test(file))
    .filter((file) => file !== "package-lock.json" && file !== "test/developerDocs.test.ts")
    .flatMap((file) => read(file).match(/[A-Za-z_]\w*/g) ?? []),
);

/** `likeThis` and `LikeThis`. */
const unknownNames = (text: string): string[] =>
  [...text.matchAll(/`([a-z]+[A-Z]\w*|[A-Z][a-z]\w*)`/g)]
    .map(([, name = ""]) => name)
    .filter((name) => !words.has(name));

const scripts = Object.keys((JSON.parse(read("package.json")) as { scripts: object }).scripts);
const unknownScripts = (text: string): string[] =>
  [...text.matchAll(/npm run ([\w:-]+)/g)].map(([, name = ""]) => name).filter((name) => !scripts.includes(name));

describe("the documents", () => {
  it("name only declarations that are in the file beside them", () => {
    const developers = namedDeclarations(document("DEVELOPERS.md"));
    expect(developers.length).toBeGreaterThan(80);
    expect(documents.flatMap(({ text }) => undeclared(text))).toEqual([]);
    expect(undeclared("`server/domain/faults.ts`: `faultRules`, `faultRulez`")).toEqual([
      "server/domain/faults.ts: faultRulez",
    ]);
    expect(undeclared("`faultRules` in `server/domain/fault.ts`")).toEqual(["server/domain/fault.ts: faultRules"]);
    expect(undeclared("`minutes` in `server/domain/faults.ts`")).toHaveLength(1); // used there, declared elsewhere
  });

  it("name only files that exist", () => {
    expect(documents.flatMap((one) => missingFiles(one).map((path) => `${one.file}: ${path}`))).toEqual([]);
    const planted = "`server/domain/faultz.ts`, `server/domian/`, `test/*Docs.test.ts`, `nothing.json`, `keys.json`";
    expect(missingFiles({ file: "DEVELOPERS.md", text: planted })).toEqual([
      "server/domain/faultz.ts",
      "server/domian/",
      "nothing.json",
    ]);
  });

  it("link only to files and headings that exist", () => {
    expect(documents.flatMap((one) => brokenLinks(one).map((link) => `${one.file}: ${link}`))).toEqual([]);
    const planted = "[a](README.md#settings) [b](README.md#setings) [c](nothing.md)";
    expect(brokenLinks({ file: "DEVELOPERS.md", text: planted })).toEqual(["README.md#setings", "nothing.md"]);
  });

  it("name only what the code has, and commands that exist", () => {
    expect(documents.flatMap(({ file, text }) => unknownNames(text).map((name) => `${file}: ${name}`))).toEqual([]);
    expect(documents.flatMap(({ file, text }) => unknownScripts(text).map((name) => `${file}: ${name}`))).toEqual([]);
    expect(unknownNames("`advanceFeeder`, `advanceFeederz`, `FeederStatez`")).toEqual([
      "advanceFeederz",
      "FeederStatez",
    ]);
    expect(unknownScripts("`npm run check`, `npm run chek`")).toEqual(["chek"]);
  });
});

describe("DEVELOPERS.md", () => {
  it("has the line of each declaration that its rules name: `npm run docs:lines` writes them", () => {
    const developers = document("DEVELOPERS.md");
    expect(withLines(developers, read)).toBe(developers);
    expect(developers.match(/`\w+` \d+/g)?.length).toBeGreaterThan(80);
    const moved = "## Rules and where they live\n`server/clock.ts`: `now` 7, `later`\n## Next\n";
    expect(withLines(moved, () => "\nconst now = 1;\nfunction later() {}\n")).toContain("`now` 2, `later` 3\n");
  });

  it("names every folder of server, client, domain and test", () => {
    const folders = new Set(
      tracked.flatMap((file) => file.match(/^(?:server\/domain\/\w+\/|(?:server|client|test)\/\w+\/)/)?.[0] ?? []),
    );
    expect(folders.size).toBeGreaterThan(30);
    expect([...folders].filter((folder) => !document("DEVELOPERS.md").includes(`\`${folder}\``))).toEqual([]);
  });
});

describe("server/decisions.md", () => {
  it("has a date in each paragraph, and at most three lines of it", () => {
    const paragraphs = document("server/decisions.md")
      .split("\n- ")
      .slice(1)
      .map((one) => one.split(/\n\s*\n/)[0] ?? "");
    expect(paragraphs.length).toBeGreaterThan(50);
    expect(paragraphs.filter((one) => !/^\*\*20\d\d-\d\d-\d\d [^*]+\*\*/.test(one))).toEqual([]);
    const long = (one: string) => one.split("\n").length > 3 || one.split("\n").some((line) => line.length > 150);
    expect(paragraphs.filter(long)).toEqual([]);
  });
});

describe("README.md", () => {
  it("has the job in one paragraph, then the two commands, and at most 150 lines", () => {
    const readme = document("README.md");
    expect(readme.trimEnd().split("\n").length).toBeLessThanOrEqual(150);
    const [title = "", job = "", next = ""] = readme.split(/\n\n+/);
    expect([title, next]).toEqual(["# Pieward", "## Start it"]);
    expect(job.length).toBeGreaterThan(200);
    const [, commands = ""] = /```sh\n(.*?)```/s.exec(readme) ?? [];
    expect(
      commands
        .trim()
        .split("\n")
        .map((line) => line.replace(/ *#.*/, "")),
    ).toEqual(["npm ci", "npm start"]);
  });
});
