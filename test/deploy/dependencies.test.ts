import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "../support/imports.ts";

/** Why each dependency is there, and by which licence: `deploy/dependencies.md`, compared with what is installed. */

interface Package {
  readonly license?: string;
  readonly dependencies?: Readonly<Record<string, string>>;
  readonly devDependencies?: Readonly<Record<string, string>>;
}
interface Locked extends Package {
  readonly integrity?: string;
  readonly resolved?: string;
}

const read = (path: string) => readFileSync(join(projectFolder, path), "utf8");
const list = read("deploy/dependencies.md");
const own = JSON.parse(read("package.json")) as Package;
const wanted = { ...own.dependencies, ...own.devDependencies };

/** Rows of three cells, by the package's name. */
const rowsOf = (text: string) =>
  new Map(
    [...text.matchAll(/^\| (?!package |---)(\S+) \| ([^|]+) \| ([^|]+) \|$/gm)].map(
      ([, name = "", licence = "", why = ""]) => [name, { licence, why }],
    ),
  );
const exceptions = rowsOf(list.slice(list.indexOf("**Exceptions**"), list.indexOf("**Versions**")));
const reasons = rowsOf(list.slice(list.indexOf("## What the running server loads")));
const allowed = new Set(
  (list.match(/\*\*Allowed licences:\*\* ([^.]+(?:\.\d[^.]*)*)\./)?.[1] ?? "").split(", ").map((one) => one.trim()),
);

/** SPDX: one of several joined by OR is enough (SPDX 2.3, Annex D). */
const isAllowed = (licence: string): boolean =>
  licence
    .replace(/[()]/g, "")
    .split(" OR ")
    .some((one) => allowed.has(one));

/** A package without a licence in its package.json is known by its LICENSE file alone. */
const byLicenseFile: Readonly<Record<string, string>> = { suncalc: "BSD-2-Clause" };
const licenceOf = (name: string): string =>
  (JSON.parse(read(`node_modules/${name}/package.json`)) as Package).license ?? byLicenseFile[name] ?? "none";

const problemsOf = (rows: typeof reasons, names: readonly string[], licences: (name: string) => string): string[] => [
  ...names.filter((name) => !rows.has(name)).map((name) => `${name} has no reason in deploy/dependencies.md`),
  ...[...rows.keys()].filter((name) => !names.includes(name)).map((name) => `${name} is listed and not used any more`),
  ...[...rows]
    .filter(([name, { licence }]) => names.includes(name) && licences(name) !== licence)
    .map(([name, { licence }]) => `${name} is installed under ${licences(name)}, and listed under ${licence}`),
  ...[...rows]
    .filter(([, { licence }]) => !isAllowed(licence))
    .map(([name]) => `${name} has a licence that is not allowed`),
];

describe("each dependency", () => {
  it("has a reason, and the licence that the document names, which is allowed", () => {
    expect(allowed.size).toBe(10);
    expect(problemsOf(reasons, Object.keys(wanted), licenceOf)).toEqual([]);
  });

  it("is missed, found out of use, and found under another licence", () => {
    const rows = new Map([
      ["known", { licence: "MIT", why: "" }],
      ["gone", { licence: "MIT", why: "" }],
      ["closed", { licence: "SSPL-1.0", why: "" }],
    ]);
    expect(problemsOf(rows, ["known", "closed", "new"], () => "SSPL-1.0")).toEqual([
      "new has no reason in deploy/dependencies.md",
      "gone is listed and not used any more",
      "known is installed under SSPL-1.0, and listed under MIT",
      "closed has a licence that is not allowed",
    ]);
  });

  it("has an exact version", () => {
    expect(Object.entries(wanted).filter(([, version]) => !/^\d+\.\d+\.\d+(-[\w.]+)?$/.test(version))).toEqual([]);
  });
});

describe("every package that is installed, also for another one", () => {
  const { packages } = JSON.parse(read("package-lock.json")) as { packages: Readonly<Record<string, Locked>> };
  const installed = Object.entries(packages).filter(([path]) => path !== "");

  it("has an allowed licence, or is an exception with a reason", () => {
    expect(installed.length).toBeGreaterThan(400);
    const forbidden = installed.flatMap(([path, { license }]) => {
      const name = path.replace(/^.*node_modules\//, "");
      const licence = license ?? licenceOnDisk(path) ?? byLicenseFile[name] ?? "none";
      return isAllowed(licence) || exceptions.has(name) ? [] : [`${name}: ${licence}`];
    });
    expect(forbidden).toEqual([]);
  });

  it("is pinned to its SHA-512", () => {
    expect(installed.filter(([, { integrity }]) => !integrity?.startsWith("sha512-")).map(([path]) => path)).toEqual(
      [],
    );
  });

  it("is still there where it is an exception", () => {
    const names = new Set(installed.map(([path]) => path.replace(/^.*node_modules\//, "")));
    expect(exceptions.size).toBeGreaterThan(0);
    expect([...exceptions.keys()].filter((name) => !names.has(name))).toEqual([]);
  });
});

/** Packages for other machines are in the lock, and not on the disk. */
function licenceOnDisk(path: string): string | undefined {
  const file = join(projectFolder, path, "package.json");
  return existsSync(file) ? (JSON.parse(readFileSync(file, "utf8")) as Package).license : undefined;
}
