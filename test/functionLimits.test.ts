import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "./support/imports.ts";

/** ESLint limits how long and branched a function is; these are the exceptions. */

const sources = ["server", "client"].flatMap((folder) =>
  readdirSync(join(projectFolder, folder), { recursive: true, encoding: "utf8" })
    .filter((path) => /\.tsx?$/.test(path) && !path.includes("generated"))
    .map((path) => readFileSync(join(projectFolder, folder, path), "utf8")),
);

describe("the limits of a function", () => {
  it("are exceeded at few places, each with its reason", () => {
    expect(sources.length).toBeGreaterThan(400);
    const exceptions = sources.flatMap(functionExceptions);
    const count = (rule: string) => exceptions.filter((exception) => exception.rule === rule).length;
    expect(exceptions.filter(({ reason }) => reason.length < 20)).toEqual([]);
    expect(count("max-lines-per-function")).toBeLessThanOrEqual(15);
    expect(count("complexity")).toBeLessThanOrEqual(10);
    expect(count("max-params")).toBe(0);
  });

  it("would be found to be exceeded without a reason, and by two rules in one line", () => {
    const marker = ["eslint", "disable"].join("-");
    expect(functionExceptions(`// ${marker}-next-line complexity`)).toEqual([{ rule: "complexity", reason: "" }]);
    expect(functionExceptions(`/* ${marker} max-params, complexity -- a table is longer */`)).toEqual([
      { rule: "max-params", reason: "a table is longer" },
      { rule: "complexity", reason: "a table is longer" },
    ]);
  });
});

/** Where a function may break a limit of eslint.config.js: the rule, and the reason that stands beside it. */
function functionExceptions(source: string): readonly { readonly rule: string; readonly reason: string }[] {
  return [
    ...source.matchAll(/eslint-disable(?:-next-line|-line)?[ \t]*([\w,/@ -]*?)(?: -- ([^\n]*?))?(?: \*\/)?$/gm),
  ].flatMap(([, names = "", reason = ""]) =>
    names
      .split(",")
      .map((rule) => ({ rule: rule.trim(), reason }))
      .filter(({ rule }) => ["max-lines-per-function", "complexity", "max-params"].includes(rule)),
  );
}
