import { execFileSync } from "node:child_process";
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "../support/imports.ts";

/** `deploy/security.md` names files and tests that exist, and answers every requirement of the standard's levels 1 and 2. */

const text = readFileSync(join(projectFolder, "deploy/security.md"), "utf8");

/** Requirements of level 1 and 2 by section, from the tables of OWASP ASVS 5.0.0: 253 (github.com/OWASP/ASVS, 5.0/en). */
const requirements: Readonly<Record<string, readonly number[]>> = {
  ...{ "1.1": upTo(2), "1.2": upTo(9), "1.3": upTo(11), "1.4": upTo(3), "1.5": upTo(2) },
  ...{ "2.1": upTo(3), "2.2": upTo(3), "2.3": upTo(4), "2.4": upTo(1) },
  ...{ "3.2": upTo(2), "3.3": upTo(4), "3.4": upTo(6), "3.5": upTo(5), "3.7": upTo(2) },
  ...{ "4.1": upTo(3), "4.2": upTo(1), "4.3": upTo(2), "4.4": upTo(4) },
  ...{ "5.1": upTo(1), "5.2": upTo(3), "5.3": upTo(2), "5.4": upTo(3) },
  ...{
    "6.1": upTo(3),
    "6.2": upTo(12),
    "6.3": upTo(4),
    "6.4": upTo(4),
    "6.5": upTo(5),
    "6.6": upTo(3),
    "6.8": upTo(4),
  },
  ...{ "7.1": upTo(3), "7.2": upTo(4), "7.3": upTo(2), "7.4": upTo(5), "7.5": upTo(2), "7.6": upTo(2) },
  ...{ "8.1": upTo(2), "8.2": upTo(3), "8.3": upTo(1), "8.4": upTo(1), "9.1": upTo(3), "9.2": upTo(4) },
  ...{
    "10.1": upTo(2),
    "10.2": upTo(2),
    "10.3": upTo(4),
    "10.4": upTo(11),
    "10.5": upTo(5),
    "10.6": upTo(2),
    "10.7": upTo(3),
  },
  ...{ "11.1": upTo(2), "11.2": upTo(3), "11.3": upTo(3), "11.4": upTo(4), "11.5": upTo(1), "11.6": upTo(1) },
  ...{ "12.1": upTo(3), "12.2": upTo(2), "12.3": upTo(4) },
  ...{ "13.1": upTo(1), "13.2": upTo(5), "13.3": upTo(2), "13.4": upTo(5) },
  ...{ "14.1": upTo(2), "14.2": upTo(4), "14.3": upTo(3) },
  ...{ "15.1": upTo(3), "15.2": upTo(3), "15.3": upTo(7) },
  ...{ "16.1": upTo(1), "16.2": upTo(5), "16.3": upTo(4), "16.4": upTo(3), "16.5": upTo(3) },
  ...{ "17.1": upTo(1), "17.2": upTo(4), "17.3": upTo(2) },
};
function upTo(last: number): readonly number[] {
  return Array.from({ length: last }, (_, at) => at + 1);
}

interface Line {
  readonly ids: readonly string[];
  readonly state: string;
  readonly shownBy: string;
}

/** `6.2.1`, `6.2.1, 6.2.5`, `6.8.1-4` or `9.1-2`: whole sections. */
function idsOf(cell: string): string[] {
  return cell.split(", ").flatMap((part) => {
    const [chapter = "", section = "", first, last] = part.split(/[.-]/);
    if (first !== undefined && part.split(".").length === 3) {
      const [from, to] = [Number(first), Number(last ?? first)];
      return upTo(to)
        .filter((number) => number >= from)
        .map((number) => `${chapter}.${section}.${number}`);
    }
    const [from, to] = [Number(section), Number(first ?? section)];
    const sections = upTo(to).filter((number) => number >= from);
    return sections.flatMap((one) =>
      (requirements[`${chapter}.${one}`] ?? []).map((number) => `${chapter}.${one}.${number}`),
    );
  });
}

const lines: readonly Line[] = [
  ...text.matchAll(/^\| (\d[\d., -]*) \| ([^|]+) \| (yes|partly|no|n\/a) \| ([^|]+) \|$/gm),
].map(([, ids = "", , state = "", shownBy = ""]) => ({ ids: idsOf(ids), state, shownBy }));

const filesIn = (text: string): string[] =>
  [...text.matchAll(/`((?:[\w.-]+\/)+[\w.-]+|[\w.]+\.config\.ts|tsconfig\.json)`/g)].map(([, file = ""]) => file);
const missing = (text: string): string[] => filesIn(text).filter((file) => !existsSync(join(projectFolder, file)));

describe("the security document", () => {
  it("names only files that exist, and that belong to the project", () => {
    expect(filesIn(text).length).toBeGreaterThan(50);
    expect(missing(text)).toEqual([]);
    const tracked = new Set(
      execFileSync("git", ["ls-files", "-co", "--exclude-standard"], { cwd: projectFolder }).toString().split("\n"),
    );
    expect(filesIn(text).filter((file) => !tracked.has(file))).toEqual([]);
    expect(missing("in `test/routes/nothing.test.ts`")).toEqual(["test/routes/nothing.test.ts"]);
  });

  it("names only tests that those files have", () => {
    const named = [...text.matchAll(/`([\w./-]+\.test\.tsx?)`: "([^"]+)"/g)].map(([, file = "", name = ""]) => ({
      file,
      name,
    }));
    expect(named.length).toBeGreaterThan(10);
    const has = ({ file, name }: { file: string; name: string }) =>
      readFileSync(join(projectFolder, file), "utf8").includes(name);
    expect(named.filter((one) => !has(one))).toEqual([]);
  });

  it("answers each requirement of levels 1 and 2 once", () => {
    const wanted = Object.entries(requirements).flatMap(([section, numbers]) =>
      numbers.map((number) => `${section}.${number}`),
    );
    expect(wanted.length).toBe(253);
    const answered = lines.flatMap(({ ids }) => ids);
    expect(wanted.filter((id) => !answered.includes(id))).toEqual([]);
    expect(answered.filter((id, at) => answered.indexOf(id) !== at || !wanted.includes(id))).toEqual([]);
  });

  it("names a file for what is met, and explains what is not", () => {
    const bare = lines.filter(
      ({ state, shownBy }) => state === "yes" && filesIn(shownBy).length === 0 && !shownBy.includes("below"),
    );
    expect(bare.map(({ ids }) => ids.join())).toEqual([]);
    expect(lines.filter(({ shownBy }) => shownBy.trim().length < 10)).toEqual([]);
  });

  it("counts right", () => {
    const count = (state: string) => lines.filter((line) => line.state === state).flatMap(({ ids }) => ids).length;
    const [, yes, partly, no, none] = text.match(/(\d+) are met, (\d+) partly, (\d+) not, and (\d+) don't apply/) ?? [];
    expect([yes, partly, no, none].map(Number)).toEqual([count("yes"), count("partly"), count("no"), count("n/a")]);
  });
});
