import { describe, expect, it } from "vitest";
import type { EmailDraft } from "../../../server/domain/email/email.ts";
import { notificationEmail } from "../../../server/domain/email/notificationEmail.ts";
import { emailColors, renderEmail } from "../../../server/domain/email/renderEmail.ts";
import { type FaultKind, faultKinds } from "../../../server/domain/faults.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";

const draft = (different: Partial<EmailDraft> = {}): EmailDraft => ({
  subject: "Alder Croft",
  title: "Thursday at Alder Croft",
  sections: [],
  link: null,
  footer: "Sent because you are a recipient.",
  topic: "digest",
  ...different,
});
const place = { yardName: "Alder Croft", feederName: "Larch", link: "https://pieward.example/feeders/f1" };

describe("the links of an e-mail", () => {
  const list = { kind: "list" as const, items: ["Refill Rowan.", "Clean Larch."], links: ["/feeders/r", "/feeders/l"] };

  it("stand under their items in the text, and are the items themselves in the HTML", () => {
    const links = ["https://pieward.example/r", "https://pieward.example/l"];
    const { text, html } = renderEmail(draft({ sections: [{ ...list, links }] }));
    expect(text).toContain(
      "- Refill Rowan.\n  https://pieward.example/r\n- Clean Larch.\n  https://pieward.example/l\n",
    );
    expect(html).toMatch(/<li[^>]*><a [^>]*href="https:\/\/pieward\.example\/r"[^>]*>Refill Rowan\.<\/a><\/li>/);
    expect(html).toMatch(/<li[^>]*><a [^>]*href="https:\/\/pieward\.example\/l"[^>]*>Clean Larch\.<\/a><\/li>/);
  });

  it("are left out where an item has none", () => {
    const { text, html } = renderEmail(draft({ sections: [{ kind: "list", items: ["Refill Rowan."] }] }));
    expect(text).toContain("- Refill Rowan.\n\n-- \n");
    expect(html).toMatch(/<li[^>]*>Refill Rowan\.<\/li>/);
    expect(html).not.toContain("<a ");
  });

  it("begin with this server's address, since a path alone opens nothing in a mail program", () => {
    const content = notificationFixture({ emailSections: [list] });
    const { text } = notificationEmail(content, { ...place, home: "https://pieward.example" });
    expect(text).toContain("- Refill Rowan.\n  https://pieward.example/feeders/r\n");
  });

  it.each([null, undefined])("are left out where this server doesn't know its address (%s)", (home) => {
    const content = notificationFixture({ emailSections: [list] });
    const { text } = notificationEmail(content, { ...place, ...(home === undefined ? {} : { home }) });
    expect(text).toContain("- Refill Rowan.\n- Clean Larch.\n");
    expect(text).not.toContain("/feeders/r");
  });

  it("offer to acknowledge only where the notification can be acknowledged", () => {
    const linkText = (actions: NonNullable<ReturnType<typeof notificationFixture>["actions"]>) =>
      notificationEmail(notificationFixture({ actions }), place).text.match(/^(.*):\nhttps:/m)?.[1];
    expect(linkText(["acknowledge", "pause"])).toBe("Open and acknowledge");
    expect(linkText(["pause"])).toBe("Open");
    expect(linkText([])).toBe("Open");
  });
});

describe("the sections of a notification's e-mail", () => {
  it("replace its body, which is for a phone's lock screen", () => {
    const content = notificationFixture({
      body: "Two things to do.",
      emailSections: [
        { kind: "heading", text: "To do" },
        { kind: "caution", text: "unplug first." },
      ],
    });
    const { text } = notificationEmail(content, place);
    expect(text).toContain("TO DO\n\nCaution: unplug first.\n\nFeeder: Larch.");
    expect(text).not.toContain("Two things");
  });

  it("give each line of a text a paragraph of its own, without empty ones", () => {
    const { text, html } = renderEmail(
      draft({ sections: [{ kind: "paragraphs", text: "First line.\n\n  Second\tline. \n" }] }),
    );
    expect(text).toContain("\n\nFirst line.\nSecond line.\n\n-- \n");
    expect([...html.matchAll(/<p style[^>]*>(.*)<\/p>/g)].map(([, line]) => line)).toEqual([
      "First line.",
      "Second line.",
    ]);
  });

  it("show a heading and a caution as such in the HTML too", () => {
    const { html } = renderEmail(
      draft({
        sections: [
          { kind: "heading", text: "To\ndo" },
          { kind: "caution", text: "unplug\nfirst." },
        ],
      }),
    );
    expect(html).toMatch(/<h1[^>]*>Thursday at Alder Croft<\/h1>/);
    expect(html).toMatch(/<h2[^>]*>To do<\/h2>/);
    expect(html).toMatch(/<p class="caution"[^>]*><strong>Caution:<\/strong> unplug first\.<\/p>/);
  });

  it("fill lines of 72 columns at most with every long text (RFC 5322, section 2.1.1)", () => {
    const long = "food ".repeat(40).trim();
    const sections: EmailDraft["sections"] = [
      { kind: "paragraphs", text: long },
      { kind: "list", items: [long] },
      { kind: "caution", text: long },
    ];
    const { text } = renderEmail(draft({ title: long, sections, footer: long }));
    for (const block of text.split("\n\n")) {
      const lines = block.trimEnd().split("\n");
      for (const line of lines) expect(line.length).toBeLessThanOrEqual(72);
      for (const line of lines.slice(0, -1)) if (line !== "-- ") expect(`${line} food`.length).toBeGreaterThan(72);
    }
    expect(text).toMatch(/^- food food.*\n {2}food/m);
    expect(text).toMatch(/^Caution: food/m);
  });

  it("begin with a word that is longer than a line, without an empty line before it", () => {
    const address = `https://pieward.example/${"a".repeat(90)}`;
    expect(renderEmail(draft({ title: `${address} opens` })).text).toMatch(/^https:\S+\nopens\n/);
  });

  it("put title, footer and link text on one line each, whatever they contain", () => {
    const link = { text: "Open\nthe page", address: "https://pieward.example/" };
    const { text, html } = renderEmail(draft({ subject: "a\nb", title: "One\ntitle", footer: "Sent\n\tonce.", link }));
    expect(text).toBe("One title\n\nOpen the page:\nhttps://pieward.example/\n\n-- \nSent once.\n");
    for (const line of ["<title>a b</title>", ">One title</h1>", ">Open the page</a>", "Sent once.</p>"])
      expect(html).toContain(line);
  });

  it("show the five characters of markup as they are (HTML, section 13.1.4)", () => {
    const { html } = renderEmail(draft({ title: `a & b < c > d "e" 'f'` }));
    expect(html).toContain("a &amp; b &lt; c &gt; d &quot;e&quot; &#39;f&#39;</h1>");
  });

  it("name the yard as the reason of the e-mail, or no certain one in a test e-mail", () => {
    const footer = (yardName: string | null) =>
      notificationEmail(notificationFixture(), { ...place, yardName })
        .text.split("\n-- \n")[1]
        ?.replaceAll("\n", " ");
    expect(footer("Alder Croft")).toContain("a recipient of Alder Croft.");
    expect(footer(null)).toContain("a recipient of a yard.");
  });
});

describe("an e-mail in the dark", () => {
  const { html } = renderEmail(
    draft({
      sections: [
        { kind: "list", items: ["Refill Rowan."], links: ["https://pieward.example/r"] },
        { kind: "caution", text: "unplug first." },
      ],
      link: { text: "Open", address: "https://pieward.example/" },
    }),
  );
  const style = html.match(/<style>(.*)<\/style>/)?.[1] ?? "";

  it("recolors each part that has a color by day", () => {
    const colored = [...html.matchAll(/<(?:body|div|p|a) class="(\w+)"[^>]*color:/g)].map(([, name]) => name);
    expect(new Set(colored)).toEqual(new Set(["paper", "leaf", "link", "caution", "foot"]));
    for (const name of colored)
      expect(style).toMatch(new RegExp(`\\.${name}\\{background-color:#\\w{6}!important;color:`));
  });

  it("has each color by day from the one list, and by night from the other", () => {
    const colorsOf = (text: string) => new Set(text.match(/#[0-9a-f]{6}/g));
    expect(colorsOf(style)).toEqual(new Set(Object.values(emailColors.night)));
    expect(colorsOf(html.replace(style, ""))).toEqual(new Set(Object.values(emailColors.day)));
  });

  it("declares that it suits both, so that a mail program doesn't invert it (CSS Color Adjustment, section 2)", () => {
    expect(html).toContain('<meta name="supported-color-schemes" content="light dark">');
    expect(style).toMatch(/^:root\{color-scheme:light dark\}@media \(prefers-color-scheme:dark\)\{.*\}$/);
  });

  it("is a whole HTML document that fits a phone's width", () => {
    expect(html).toMatch(/^<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">\n/);
    expect(html).toContain('<meta name="viewport" content="width=device-width,initial-scale=1">');
    expect(html).toMatch(/<\/div><\/body><\/html>\n$/);
    for (const tag of ["html", "head", "body", "div", "p", "a", "ul", "li", "style"]) {
      const count = (pattern: string) => html.match(new RegExp(pattern, "g"))?.length;
      expect(count(`<${tag}[ >]`), tag).toBe(count(`</${tag}>`));
    }
  });
});

describe("the caution of an e-mail", () => {
  const movingParts: FaultKind[] = [
    ...(["motorNotTurning", "motorStalled", "trayJammed", "feedBridged", "feedStopped", "iceLock"] as const),
    ...(["feedsThoughPaused", "pauseContradicted", "pauseOverdue"] as const),
  ];
  const electricity: FaultKind[] = ["feederSilent", "supplyWeak"];
  const batteries: FaultKind[] = ["chargingInFrost", "batteryFreezing"];
  const caution = (fault: FaultKind) =>
    notificationEmail(notificationFixture({ fault }), place)
      .text.match(/^Caution: (.*?)\n\n/ms)?.[1]
      ?.replaceAll("\n", " ") ?? null;

  it("asks to unplug before a feeder is opened whose motor may still start", () => {
    for (const fault of movingParts)
      expect(caution(fault), fault).toMatch(/unplug before you open it.*can start again/);
  });
  it("leaves mains and outdoor wiring to a qualified electrician", () => {
    for (const fault of electricity) expect(caution(fault), fault).toMatch(/mains.*qualified electrician/);
  });
  it("forbids to charge a frozen, swollen or leaking battery", () => {
    for (const fault of batteries) expect(caution(fault), fault).toMatch(/never charge .*frozen, swollen or leaking/);
    expect(caution("chargingInFrost")).toContain("below 0 °C");
  });
  it("is there for no other fault", () => {
    const withCaution = [...movingParts, ...electricity, ...batteries];
    const others = faultKinds.filter((fault) => !withCaution.includes(fault));
    expect(others.filter((fault) => caution(fault) !== null)).toEqual([]);
  });
});
