import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import ts from "typescript";
import { describe, expect, it } from "vitest";
import { findHardCodedText } from "./client/hardCodedText.ts";
import { projectFolder } from "./support/imports.ts";
import { textProgram } from "./support/textProgram.ts";
import { unusedTexts } from "./support/unusedTexts.ts";

/** The server's texts for people: they stand in server/text/<language>/ alone, each is used, and a second language fits. */

/** Strings that look like texts and are none, each with its reason. */
const noTexts: readonly (readonly [file: string, texts: RegExp, reason: string])[] = [
  ["server/domain/deviceText.ts", /^"[A-Z]\w+( \w+)?"$/, "names of browsers and systems"],
  ["server/domain/email/renderEmail.ts", /<|:root|serif/, "markup and style"],
  ["server/domain/notification/alarmGroup.ts", /^`yard /, "a key that is only compared"],
  ["server/domain/stateShape.ts", / is | has |"Rowan"|"a list"/, "tells engineers what is wrong with a stored state"],
  ["server/domain/units.ts", /^"(degrees|percent) /, "part of an error's message"],
  ["server/domain/zone.ts", /^new Intl/, "only asks whether a time zone is known"],
  ["server/flows/damage.ts", /^"internal error"$/, "is only logged"],
  ["server/flows/history.ts", /^"Celsius"$/, "a part of the names of columns"],
  ["server/flows/passkeys.ts", /^"Pieward"$/, "the program's name"],
  ["server/flows/publicId.ts", /^`id of /, "is only hashed"],
  ["server/flows/repair.ts", /record|damaged/, "lines of the log"],
  ["server/flows/zones.ts", /^`The time zone of yard/, "a line of the log"],
  ["server/routes/client.ts", /^"public, max-age/, "a header"],
  ["server/routes/exportKeys.ts", /^"Authorization"$/, "a header"],
  ["server/routes/feederIdentity.ts", /^"Authorization"$/, "a header"],
  ["server/routes/feeders.ts", /^"(Rowan|the yard's id, .*)"$/, "examples in the documentation"],
  ["server/routes/problems.ts", /^"(Bad Request|[A-Z]\w+(-[A-Z]\w+)?: .*)"$/, "headers"],
  ["server/routes/problems.ts", /^"(the d(atabase|isk)|a (part of a )?feeder's) /, "lines of the log"],
  ["server/routes/stillApi.ts", /^`still\\n/, "is only signed"],
  ["server/routes/rights.ts", /keepers? (of|and)|signed in|yard"$/, "the documentation of a route's rights"],
];

const read = (path: string) => readFileSync(join(projectFolder, path), "utf8");
const files = ["server/domain", "server/flows", "server/routes"].flatMap((folder) =>
  readdirSync(join(projectFolder, folder), { recursive: true, encoding: "utf8" })
    .filter((path) => path.endsWith(".ts") && !/^documentation[/.]/.test(path))
    .map((path) => `${folder}/${path}`)
    .sort(),
);

const find = (path: string, source: string) =>
  findHardCodedText(path, source, {
    functions: /^(trace|debug|info|warn|error|fatal|header|describe|meta|\w+Tag)$/, // log lines, headers, documentation
    properties: path.startsWith("server/routes/") ? new Set(["summary", "description"]) : new Set(), // of a route
  });
const isAllowed = (path: string, text: string) => noTexts.some(([file, texts]) => file === path && texts.test(text));

describe("the server's texts", () => {
  it("stand in server/text/en alone", () => {
    expect(files.length).toBeGreaterThan(150);
    const found = files.flatMap((path) =>
      find(path, read(path))
        .filter(({ text }) => !isAllowed(path, text))
        .map(({ line, text }) => `${path}:${line} ${text}`),
    );
    expect(found).toEqual([]);
  });

  it("leave no entry on the list that nothing needs any more", () => {
    const unneeded = noTexts.filter(
      ([path, texts]) => !files.includes(path) || !find(path, read(path)).some(({ text }) => texts.test(text)),
    );
    expect(unneeded).toEqual([]);
  });

  it.each([
    ["server/domain/planted.ts", "const fault = { reason: 'The hopper is empty.' };", "'The hopper is empty.'"],
    ["server/domain/planted.ts", "const evidence = { label: 'voltage', value };", "'voltage'"],
    ["server/domain/planted.ts", "return `§{count} portions`;", "`§{count} portions`"],
    ["server/flows/planted.ts", "return { kind: 'refused', reason: 'This link was used.' };", "'This link was used.'"],
    ["server/routes/planted.ts", "return { status: 404, detail: 'There is no yard.' };", "'There is no yard.'"],
    [
      "server/domain/planted.ts",
      "const day = new Intl.DateTimeFormat('en').format(at);",
      "new Intl.DateTimeFormat('en')",
    ],
  ])("would be found in %s at %s", (path, code, text) => {
    const found = find(path, code.replaceAll("§", "$")).filter((one) => !isAllowed(path, one.text));
    expect(found.map((one) => one.text)).toEqual([text.replaceAll("§", "$")]);
  });

  it.each([
    ["server/flows/planted.ts", "log.error({ err }, 'a delivery could not be settled');"],
    ["server/routes/planted.ts", "routes.get('/home', { schema: { summary: 'All yards as they are now' } }, home);"],
    ["server/domain/planted.ts", "throw new RangeError(`expected a date, got §{date}`);"],
  ])("are not what programmers read: in %s at %s", (path, code) => {
    expect(find(path, code.replaceAll("§", "$"))).toEqual([]);
  });

  it("are taken by the index, which knows the language", () => {
    const direct = files.filter((path) => /from "[./]*text\/en\//.test(read(path)));
    expect(direct).toEqual([]);
  });
});

describe("a text", { timeout: 120_000 }, () => {
  it("is taken somewhere", () => {
    const takers = files.filter((path) => read(path).includes("text/index.ts"));
    const documentation = "server/routes/documentation/refusals.ts";
    const english = join(projectFolder, "server/text/en/faults.ts");
    const planted = read("server/text/en/faults.ts").replace(
      "export const faults = {",
      "$& plantedText: { title: '' },",
    );
    const unused = unusedTexts([...takers, documentation, "server/text/format.ts"], new Map([[english, planted]]));
    expect(unused).toEqual(["faults.plantedText.title"]); // and nothing that isn't planted
  });
});

describe("a second language", { timeout: 60_000 }, () => {
  const folder = join(projectFolder, "server/text");
  const areas = readdirSync(join(folder, "en"));

  /** What the compiler says of a copy of English that differs in one area. */
  function problems(area: string, change: (text: string) => string): string {
    const check = [
      'import * as planted from "./planted/index.ts";',
      'import * as english from "./en/index.ts";',
      'import type { Text, Texts } from "./index.ts";',
      "export const texts: Texts = planted;",
      "export const noOthers: Text<typeof planted> = english;",
    ].join("\n");
    const copy = areas.map((file): [string, string] => {
      const text = read(`server/text/en/${file}`);
      return [join(folder, "planted", file), file === area ? change(text) : text];
    });
    const program = textProgram(["server/text/planted.ts"], new Map([...copy, [join(folder, "planted.ts"), check]]));
    return ts
      .getPreEmitDiagnostics(program)
      .map(({ messageText }) => ts.flattenDiagnosticMessageText(messageText, "\n"))
      .join("\n");
  }

  it("may write the same in its own way", () => {
    expect(problems("time.ts", (text) => text.replace('today: "today"', 'today: "idag"'))).toBe("");
  });

  it("may not lack a text", () => {
    expect(problems("time.ts", (text) => text.replace('today: "today",', ""))).toContain("'today' is missing");
  });

  it("may not have a text that nothing takes", () => {
    expect(problems("time.ts", (text) => text.replace('today: "today",', 'today: "", hej: "",'))).toContain(
      "'hej' is missing",
    );
  });

  it("must make its sentences of the same values", () => {
    const changed = problems("time.ts", (text) => text.replace("every: (span: string)", "every: (span: number)"));
    expect(changed).toContain("not assignable");
  });
});
