import { readdirSync, readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { values } from "./checkValues.json";

/** "(check value phi-normal, computed)", "check values psy-ae-*", "the table: alm-flood" */
const citation = /(?:[Cc]heck values?|of the table:) ([a-z0-9]+-(?:[\w./-]*\w-?)?)/g;

const texts = ["server", "test"].flatMap((folder) =>
  readdirSync(folder, { recursive: true, encoding: "utf8" })
    .filter((file) => /\.tsx?$/.test(file) && !file.includes("generated") && !file.endsWith("checkValues.test.ts"))
    .map((file) => readFileSync(`${folder}/${file}`, "utf8")),
);
const cited = texts.flatMap((text) => [...text.matchAll(citation)].flatMap(([, id]) => id ?? []));
const ids = values.map(({ id }) => id);

describe("the check values", () => {
  it("are there for every citation", () => {
    expect(cited.length).toBeGreaterThan(30);
    const lost = cited.filter((name) => !ids.some((id) => (name.endsWith("-") ? id.startsWith(name) : id === name)));
    expect(lost).toEqual([]);
  });

  it("each have a published source, a status, and a test that names them", () => {
    expect(new Set(ids).size).toBe(ids.length);
    for (const { id, source, status } of values) {
      expect(source.length, id).toBeGreaterThan(10);
      expect(status, id).toMatch(/computed|quoted|from memory/);
      const families = cited.filter((name) => name.endsWith("-"));
      const isNamed = families.some((name) => id.startsWith(name)) || texts.some((text) => text.includes(id));
      expect(isNamed, `${id} is used by no test`).toBe(true);
    }
  });
});
