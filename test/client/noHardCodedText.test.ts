import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "../support/imports.ts";
import { findHardCodedText } from "./hardCodedText.ts";

/** Files with strings that look like texts and are none, each with its reason. */
const noTexts: Readonly<Record<string, string>> = {
  "client/components/feederKey.tsx": "a command for a shell",
  "client/screens/resetPassphraseScreen.tsx": "a command for a shell",
  "client/screens/practiceScreen.tsx": "the name of a practice feeder",
  "client/state/phones.ts": "a key that is only compared",
  "client/text/format.ts": "the one place where dates and numbers become text",
  "client/text/practice.ts": "the names of the practice feeders",
};

/** Not moved to `client/text/en/` yet. Only ever shrinks: a file whose texts have moved must go off the list. */
const notYetMoved: readonly string[] = [];

const filesIn = (folder: string): readonly string[] =>
  readdirSync(join(projectFolder, folder), { recursive: true, encoding: "utf8" })
    .filter((path) => /\.tsx?$/.test(path))
    .map((path) => `${folder}/${path}`)
    .sort();

const findings = (path: string) =>
  findHardCodedText(path, readFileSync(join(projectFolder, path), "utf8")).map(
    ({ line, text }) => `${path}:${line} ${text}`,
  );

describe("the client's texts", () => {
  const files = filesIn("client").filter(
    (path) => !/^client\/text\/\w+\//.test(path) && !path.startsWith("client/build/"),
  );

  it("are in client/text/en alone", () => {
    expect(files.length).toBeGreaterThan(80);
    const checked = files.filter((path) => !notYetMoved.includes(path) && noTexts[path] === undefined);
    expect(checked.flatMap(findings)).toEqual([]);
  });

  it("has no file on its list of exceptions that does not need one", () => {
    const listed = [...notYetMoved, ...Object.keys(noTexts)];
    expect(listed.filter((path) => !files.includes(path) || findings(path).length === 0)).toEqual([]);
  });
});

describe("the check for texts in code", () => {
  // A template's `$` is written `§` below, so that it isn't taken for a slip here.
  const found = (code: string) => findHardCodedText("planted.tsx", code.replaceAll("§", "$")).map(({ text }) => text);

  it.each([
    ["text in an element", "const a = <p>No alarms</p>;", "No alarms"],
    ["one word in an element", "const a = <button type='button'>ok</button>;", "ok"],
    ["an attribute that is read aloud", "const a = <nav aria-label='menu' />;", "'menu'"],
    ["a label as a property", "const a = { label: 'lid' };", "'lid'"],
    ["one of two labels", "const a = <Field label={b ? 'lid' : c} />;", "'lid'"],
    ["a sentence", "announce('was not sent');", "'was not sent'"],
    ["a sentence about a value", "announce(`§{name} removed`);", "`§{name} removed`"],
    ["a word before a value", "announce(`until §{time}`);", "`until §{time}`"],
    ["a value inside a sentence", "announce(`§{name}: §{count} of §{all}`);", "`§{name}: §{count} of §{all}`"],
    ["one capitalized word", "announce('Saved');", "'Saved'"],
    ["a short result", "setResult(ok ? 'Copied.' : '');", "'Copied.'"],
    ["a date in a language of its own", "new Intl.DateTimeFormat('sv').format(at);", "new Intl.DateTimeFormat('sv')"],
    ["a number in the browser's language", "grams.toLocaleString();", "grams.toLocaleString()"],
  ])("finds %s", (_, code, text) => {
    expect(found(code)).toEqual([text.replaceAll("§", "$")]);
  });

  it.each([
    ["class names", "const a = <p class={isProblem ? 'notice warning' : 'notice'} />;"],
    ["a drawing", "const a = <path d='M0 6V-1M0 -1L-4.5 -6' transform={`rotate(§{angle} §{x})`} />;"],
    [
      "a message for engineers",
      "console.warn('A day could not be stored.', cause); throw new Error('no element app');",
    ],
    [
      "kinds, keys and paths",
      "const a = { kind: 'pauseAll', path: `/yards/§{id}/orders`, 'content-type': 'application/json' };",
    ],
    ["types", "type A = 'In use' | 'Saved'; const a = b as 'one two';"],
    ["a selector", "form.querySelector('[aria-invalid=true] input');"],
    ["a key on the keyboard", "if (key === 'Escape') close();"],
    ["comments", "// A sentence.\n/* Another one. */"],
    ["the browser's own time zone", "const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;"],
  ])("passes over %s", (_, code) => {
    expect(found(code)).toEqual([]);
  });
});
