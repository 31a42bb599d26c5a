import { spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { projectFolder } from "./support/imports.ts";

/** `npm run check:circles` as it stands in package.json, run over files that are planted in a folder of their own. */
const { scripts } = JSON.parse(readFileSync(join(projectFolder, "package.json"), "utf8")) as {
  scripts: Record<string, string>;
};
const [command = "", ...options] = (scripts["check:circles"] ?? "").split(" ");

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "pieward-circles-"));
  for (const name of ["server", "client", "test", "prisma", "deploy"]) mkdirSync(join(folder, name));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

describe("the check for import circles", { timeout: 30_000 }, () => {
  it("is part of npm run check", () => {
    expect(scripts.check).toContain("npm run check:circles");
  });

  it.each<[string, Record<string, string>]>([
    [
      "of types only",
      {
        "server/a.ts": 'import type { B } from "./b.ts";\nexport type A = B;\n',
        "server/b.ts": 'import type { A } from "./a.ts";\nexport type B = A[];\n',
      },
    ],
    [
      "of a type that is imported in place, and one beside a value",
      {
        "client/a.tsx": 'export type A = import("./b.ts").B;\n',
        "client/b.ts": 'import { type A, one } from "./a.tsx";\nexport type B = A[];\nexport const two = one;\n',
      },
    ],
    [
      "of three files that pass types on",
      {
        "test/a.ts": 'export type * from "./b.ts";\n',
        "test/b.ts": 'export type { C } from "./c.ts";\n',
        "test/c.ts": 'import type { C as A } from "./a.ts";\nexport type C = A | 1;\n',
      },
    ],
    [
      "of values",
      {
        "server/a.ts": 'import { b } from "./b.ts";\nexport const a = () => b();\n',
        "server/b.ts": 'export const b = async () => (await import("./a.ts")).a;\n',
      },
    ],
  ])("fails on a circle %s", (_what, files) => {
    const { status, output } = checkCircles(files);
    expect(output).toContain("no-import-circle");
    expect(status).not.toBe(0);
  });

  it("passes files that need each other one way", () => {
    const { status, output } = checkCircles({
      "server/a.ts":
        'import type { B } from "./b.ts";\nimport { c } from "./c.ts";\nexport const a = (b: B) => b + c;\n',
      "server/b.ts": 'import { c } from "./c.ts";\nexport type B = typeof c;\n',
      "server/c.ts": "export const c = 1;\n",
    });
    expect(output).toContain("3 modules");
    expect(status).toBe(0);
  });
});

function checkCircles(files: Readonly<Record<string, string>>): { status: number | null; output: string } {
  for (const [path, text] of Object.entries(files)) writeFileSync(join(folder, path), text);
  const absolute = options.map((option) => (option.startsWith(".") ? join(projectFolder, option) : option));
  const { status, stdout, stderr } = spawnSync(join(projectFolder, "node_modules/.bin", command), absolute, {
    cwd: folder,
    encoding: "utf8",
  });
  return { status, output: stdout + stderr };
}
