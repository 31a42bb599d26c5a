import { readFileSync } from "node:fs";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import type { EmailDraft } from "../../../server/domain/email/email.ts";
import { emailColors, renderEmail } from "../../../server/domain/email/renderEmail.ts";
import { wrapLines } from "../../../server/domain/email/wrapLines.ts";
import { contrastRatio } from "../../support/contrast.ts";

const said = (different: Partial<EmailDraft> = {}): EmailDraft => ({
  subject: "Alder Croft, Thursday",
  title: "Thursday at Alder Croft",
  sections: [
    { kind: "paragraphs", text: "Two things to do." },
    { kind: "heading", text: "To do" },
    { kind: "list", items: ["Refill Rowan.", "Clean Larch's tray."] },
    { kind: "caution", text: "unplug first." },
  ],
  link: { text: "See the page", address: "https://pieward.example/digest?yard=1&day=2" },
  footer: "Sent because you asked for it.",
  topic: "digest",
  ...different,
});

describe("the layout of e-mails", () => {
  it("says the same in text and in HTML", () => {
    const { text, html } = renderEmail(said());
    const read = html
      .replace(/<(style|title)>.*?<\/\1>/gs, "")
      .replace(/<[^>]*>/g, "")
      .replace(/&#39;/g, "'");
    for (const words of ["Thursday at Alder Croft", "Two things to do.", "Refill Rowan.", "Clean Larch's tray."]) {
      expect(text).toContain(words);
      expect(read).toContain(words);
    }
    expect(text).toContain("TO DO\n\n- Refill Rowan.\n- Clean Larch's tray.\n\nCaution: unplug first.");
    expect(text.split("\n-- \n")[1]).toBe("Sent because you asked for it.\n");
  });

  it("fetches nothing and runs nothing when it is opened", () => {
    const { html } = renderEmail(said());
    expect(html).not.toMatch(/<(script|img|link|iframe|object|form|svg|base)\b/i);
    expect(html).not.toMatch(/url\(|@import|src=|\son\w+=/i);
    expect([...html.matchAll(/https?:[^"\s]*/g)].map(([found]) => found)).toEqual([
      "https://pieward.example/digest?yard=1&amp;day=2",
    ]);
  });

  it("names its language, and that both light and dark suit it", () => {
    const { html } = renderEmail(said());
    expect(html).toContain('<html lang="en">');
    expect(html).toContain('<meta name="color-scheme" content="light dark">');
  });

  it("lets no text become markup", () => {
    const evil = `</p><script>alert("1")</script><img src=x onerror='1'>&`;
    const parts: EmailDraft["sections"] = [
      { kind: "paragraphs", text: evil },
      { kind: "heading", text: evil },
      { kind: "list", items: [evil] },
      { kind: "caution", text: evil },
    ];
    const tags = (html: string) => [...html.matchAll(/<[^>]*>/g)].map(([tag]) => tag.split(/[\s>]/)[0]);
    const innocent = parts.map((part) => (part.kind === "list" ? { ...part, items: ["x"] } : { ...part, text: "x" }));
    const link = { text: evil, address: `https://a.example/"${evil}` };
    const { html } = renderEmail(said({ subject: evil, title: evil, sections: parts, footer: evil, link }));
    const plain = renderEmail(said({ sections: innocent }));
    expect(tags(html)).toEqual(tags(plain.html));
    expect(html).not.toContain("<script");
  });

  it("keeps its subject on one line, whatever is put into it", () => {
    fc.assert(
      fc.property(fc.string({ unit: "binary" }), (words) => {
        const { subject } = renderEmail(said({ subject: `${words}\r\nBcc: bo@example.org${words}` }));
        expect(subject).not.toMatch(/\p{Cc}/u);
      }),
    );
  });

  it("leaves out what isn't there", () => {
    const { text, html } = renderEmail(said({ sections: [], link: null }));
    expect(text).toBe("Thursday at Alder Croft\n\n-- \nSent because you asked for it.\n");
    expect(html).not.toContain("<a ");
  });
});

describe("its inks", () => {
  const sheet = readFileSync("client/style/colours.css", "utf8");
  const [light, dark] = sheet.split("@media (prefers-color-scheme: dark)") as [string, string];
  it.each([
    ["day", light],
    ["night", dark],
  ] as const)("are the notebook's, and can be read by %s", (time, part) => {
    const inks = emailColors[time];
    for (const [name, colour] of Object.entries(inks)) expect(part).toContain(`--${name}: ${colour};`);
    for (const ink of ["ink", "pencil", "berry"] as const) {
      expect(contrastRatio(inks[ink], inks.paper)).toBeGreaterThanOrEqual(4.5);
      expect(contrastRatio(inks[ink], inks.leaf)).toBeGreaterThanOrEqual(4.5);
    }
  });

  it("always have their background: a mail program that darkens one would hide the text", () => {
    const { html } = renderEmail(said());
    const styles = [...html.matchAll(/style="([^"]*)"/g)].map(([, style = ""]) => style);
    const coloured = styles.filter((style) => /(?<!-)color:/.test(style));
    expect(coloured.length).toBeGreaterThanOrEqual(5);
    for (const style of coloured) expect(style).toContain("background-color:");
  });
});

describe("lines of plain text", () => {
  it("are broken between words, with the indent of the first", () => {
    expect(wrapLines("one two three four", 9)).toBe("one two\nthree\nfour");
    expect(wrapLines("one two three four", 9, "  ")).toBe("one two\n  three\n  four");
  });
  it("lose no word, and are only too long where one word is", () => {
    const word = fc.stringMatching(/^[a-z]{1,12}$/);
    fc.assert(
      fc.property(fc.array(word), fc.integer({ min: 3, max: 20 }), (words, columns) => {
        const lines = wrapLines(words.join(" "), columns).split("\n");
        expect(lines.flatMap((line) => line.split(" ")).filter((one) => one !== "")).toEqual(words);
        for (const line of lines) expect(line.length <= columns || !line.includes(" ")).toBe(true);
      }),
    );
  });
  it("leave an address whole", () => {
    const address = `https://pieward.example/${"a".repeat(90)}`;
    expect(wrapLines(`see ${address} there`, 72)).toBe(`see\n${address}\nthere`);
  });
});
