import { describe, expect, it } from "vitest";
import { deviceText } from "../../server/domain/deviceText.ts";
import { nameKey, nameProblem, spelledName } from "../../server/domain/names.ts";

describe("a name", () => {
  it("is spelled in one way, with single spaces", () => {
    expect(spelledName("  Ａｄａ   Croft ")).toBe("Ada Croft");
    expect(spelledName("A\u030Asa")).toBe("Åsa");
    expect(spelledName("Rowan \u2665\uFE0F")).toBe("Rowan \u2665");
  });

  it("has no invisible or direction marks, and the refusal says which one it has", () => {
    const marks = [
      ...[0x202e, 0x202a, 0x2066, 0x2069, 0x200e, 0x200f, 0x061c], // directions
      ...[0x200b, 0x200c, 0x200d, 0x2060, 0xfeff, 0x00ad, 0x034f, 0x180e], // of no width
      ...[0xe0001, 0xe0041, 0xe007f], // tags
      ...[0x0000, 0x0007, 0x001b, 0x007f, 0x0085, 0xd800, 0xe000, 0xffff], // control, private, no characters
      ...[0x115f, 0x3164, 0x2800, 0xe0100], // look empty, or only choose a look
    ];
    for (const mark of marks) {
      const code = mark.toString(16).toUpperCase().padStart(4, "0");
      expect(nameProblem(`A${String.fromCodePoint(mark)}da`)).toMatch(`U+${code}`);
    }
  });

  it("may be of any script, and has a letter or a digit", () => {
    for (const name of ["Åsa", "Łucja O'Neill", "小林", "أدا", "Ада", "Ada 2", "Rowan \u{1F426}"]) {
      expect([name, nameProblem(spelledName(name))]).toEqual([name, null]);
    }
    expect(nameProblem("\u{1F426} !")).toBe("must contain a letter or a digit");
    expect(nameProblem("\u0301\u0301")).toBe("must contain a letter or a digit");
  });

  it("has one key for all spellings that people take for the same", () => {
    for (const other of ["ada", "ADA", " Ada ", "Ａｄａ", "A\u200Bda", "\u202EAda"])
      expect(nameKey(other)).toBe(nameKey("Ada"));
    expect(nameKey("STRASSE")).toBe(nameKey("Straße"));
    expect(nameKey("ÅSA")).toBe(nameKey("A\u030Asa"));
    expect(nameKey("Bo")).not.toBe(nameKey("Ada"));
  });
});

describe("the words for a device", () => {
  it("say the kind of browser and of system, whatever else the browser says", () => {
    const of = {
      "Mozilla/5.0 (Android 14; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0": "Firefox on Android",
      "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1":
        "Safari on iPhone",
      "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0":
        "Edge on Windows",
      "Mozilla/5.0 (Linux; Android 10; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Mobile Safari/537.36":
        "Chrome on Android",
      "Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0": "Firefox on Linux",
      "something else on Linux": "A browser on Linux",
      lightMyRequest: "",
    };
    for (const [said, words] of Object.entries(of)) expect(deviceText(said)).toBe(words);
    expect(deviceText(undefined)).toBe("");
    expect(deviceText("x".repeat(100_000))).toBe("");
  });
});
