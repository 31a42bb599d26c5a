import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "./support/imports.ts";

/**
 * Only the store's adapter knows SQLite, so that another store needs no change elsewhere: nothing else imports its libraries,
 * imports more of it than opening and preparing the file, or contains SQL.
 */
const storeFolder = /^server\/adapters\/store\//;
const libraries = ["better-sqlite3", "@prisma/client", "@prisma/adapter-better-sqlite3", "prisma"];

/** Files that may import a part of the adapter, with the reason. Everything else has the port. */
const mayImportStore: Readonly<Record<string, string>> = {
  "server/dataFiles.ts": "migrates, checks and opens the file at the start",
  "server/keeper.ts": "is a command that opens the file beside a running server",
  "server/comparisonThread.ts": "is a thread that reads the file beside the server",
  "server/main.ts": "turns a problem at the start into a sentence",
  "server/adapters/dataFolder.ts": "locks the folder, and asks a file without its keys whether people use it",
};

/** Programs of their own that work on the file, not on what is stored. */
const mayUseLibrary: Readonly<Record<string, string>> = {
  "deploy/backup/backup.mjs": "copies the file while the server runs",
  "deploy/backup/restore.mjs": "checks a copy before it takes the file's place",
};

const knows = (list: Readonly<Record<string, string>>, file: string) => Object.hasOwn(list, file);

/** What a file imports in any form, also types: libraries by their name, files as paths from the project's folder. */
function importsOf(file: string, text: string): string[] {
  const named = [...text.matchAll(/(?:\bfrom|\bimport|\brequire|\bresolve)\s*\(?\s*["'`]([^"'`]+)["'`]/g)];
  return named.flatMap(([, to = ""]) => (to.startsWith(".") ? join(dirname(file), to) : to));
}

function breaches(file: string, text: string): string[] {
  const isBreach = (to: string) =>
    libraries.some((library) => to === library || to.startsWith(`${library}/`))
      ? !knows(mayUseLibrary, file)
      : storeFolder.test(to) && !knows(mayImportStore, file);
  return importsOf(file, text).flatMap((to) => (isBreach(to) ? [`${file} imports ${to}`] : []));
}

/** A statement in quotes: its first word with what must follow it. */
const sql =
  /["'`]\s*(?:SELECT\s[\s\S]{0,400}?\sFROM\s|INSERT\s+(?:OR\s+\w+\s+)?INTO\s|UPDATE\s+\W?\w+\W?\s+SET\s|DELETE\s+FROM\s|PRAGMA\s|CREATE\s+TABLE\s|BEGIN\s+(?:IMMEDIATE|EXCLUSIVE)|VACUUM\b)|\.pragma\(|\$(?:query|execute)Raw/;

const files = execFileSync("git", ["ls-files", "server", "client", "deploy"], { cwd: projectFolder, encoding: "utf8" })
  .split("\n")
  .filter((file) => /\.(?:ts|tsx|mjs)$/.test(file) && !storeFolder.test(file))
  .map((file) => ({ file, text: readFileSync(join(projectFolder, file), "utf8") }));

const linesWithSql = (file: string, text: string): string[] =>
  sql.test(text) && !knows(mayUseLibrary, file) ? [`${file} contains SQL`] : [];

describe("the store's adapter", () => {
  it("is the only part that imports SQLite, and only the start imports it", () => {
    expect(files.length).toBeGreaterThan(200);
    expect(files.flatMap(({ file, text }) => breaches(file, text))).toEqual([]);
  });

  it("is the only part that contains SQL", () => {
    expect(files.flatMap(({ file, text }) => linesWithSql(file, text))).toEqual([]);
  });

  it("has no exception that nothing needs", () => {
    const needing = files.filter(({ file, text }) =>
      importsOf(file, text).some((to) => storeFolder.test(to) || libraries.includes(to)),
    );
    const exceptions = [...Object.keys(mayImportStore), ...Object.keys(mayUseLibrary)];
    expect(needing.map(({ file }) => file).sort()).toEqual(exceptions.sort());
  });

  it.each([
    ["server/flows/ingest.ts", 'import Database from "better-sqlite3";', "better-sqlite3"],
    ["server/adapters/webPush.ts", 'import type { Feeder } from "@prisma/client/x";', "@prisma/client/x"],
    ["server/main.ts", 'const sqlite = await import("better-sqlite3");', "better-sqlite3"],
    ["server/main.ts", 'const path = require.resolve("better-sqlite3");', "better-sqlite3"],
    [
      "server/adapters/outboxWorker.ts",
      'import {\n  createOutboxStore,\n} from "./store/outboxStore.ts";',
      "server/adapters/store/outboxStore.ts",
    ],
    ["server/app.ts", 'export * from "./adapters/store/openStore.ts";', "server/adapters/store/openStore.ts"],
  ])("would be seen in %s with %s", (file, text, to) => {
    expect(breaches(file, text)).toEqual([`${file} imports ${to}`]);
  });

  it.each([
    'database.prepare(`SELECT "id" FROM "Feeder"`);',
    'run(`INSERT OR REPLACE INTO "Phone" VALUES (?)`);',
    'run(\'UPDATE "Yard" SET "name" = ?\');',
    'run("DELETE FROM Feeder");',
    "run(`\n  SELECT no\n  FROM Feeder`);",
    'database.pragma("journal_mode = WAL");',
    "client.$queryRaw`x`;",
  ])("would be seen in a file with %s", (text) => {
    expect(linesWithSql("server/x.ts", text)).toEqual(["server/x.ts contains SQL"]);
  });

  it.each(["// SELECT … FROM", '"PATCH DELETE"', "const text = `select a phone from the list`;"])(
    "would not be seen where there is none: %s",
    (text) => {
      expect(linesWithSql("server/x.ts", text)).toEqual([]);
    },
  );
});
