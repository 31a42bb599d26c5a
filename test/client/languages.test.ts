import { readdirSync, readFileSync } from "node:fs";
import { basename, dirname, join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "../support/imports.ts";
import { languageProblems, textFiles } from "./languageProblems.ts";

const textFolder = join(projectFolder, "client/text");
const languages = readdirSync(textFolder, { withFileTypes: true }).filter((each) => each.isDirectory());

describe("a language", { timeout: 60_000 }, () => {
  it.each(languages.map(({ name }) => name))("%s has the same texts as English", (name) => {
    const folder = join(textFolder, name);
    const read = (path: string) =>
      dirname(path) === folder && textFiles.includes(basename(path)) ? readFileSync(path, "utf8") : undefined;
    expect(languageProblems(folder, read)).toEqual([]);
  });

  // A second language that is only a changed copy of English, held in memory.
  const planted = join(textFolder, "planted");
  const copy = (change: (text: string, file: string) => string | undefined) => (path: string) => {
    if (dirname(path) !== planted || !textFiles.includes(basename(path))) return undefined;
    return change(readFileSync(join(textFolder, "en", basename(path)), "utf8"), basename(path));
  };
  const problems = (change: (text: string, file: string) => string | undefined) =>
    languageProblems(planted, copy(change)).join("\n");

  it("may use other texts", () => {
    expect(problems((text) => text.replace('saveLabel = "Save"', 'saveLabel = "Spara"'))).toBe("");
  });

  it("may not lack a text", () => {
    expect(problems((text) => text.replace("export const saveLabel", "const saveLabel"))).toContain("saveLabel");
  });

  it("may not lack a file", () => {
    expect(problems((text, file) => (file === "common.ts" ? undefined : text))).toContain("common.ts is missing");
  });

  it("may not have a text that no screen uses", () => {
    expect(problems((text, file) => (file === "common.ts" ? `${text}\nexport const hejLabel = "";` : text))).toContain(
      "hejLabel",
    );
  });

  it("must use the same values in its sentences", () => {
    const text = 'export const saveLabel = "Save"';
    expect(problems((each) => each.replace(text, "export const saveLabel = (time: string) => time"))).toContain(
      "not assignable",
    );
  });
});
