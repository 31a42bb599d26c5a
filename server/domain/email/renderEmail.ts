import { texts } from "../../text/index.ts";
import { language } from "../../text/language.ts";
import type { Email, EmailDraft, EmailSection } from "./email.ts";
import { wrapLines } from "./wrapLines.ts";

/**
 * The common layout of all e-mails: a title, the sections, a link, and why it was sent. Nothing is fetched when it is opened and
 * nothing runs: no pictures, no scripts, no external fonts, so nobody learns when or where it was read.
 *
 * Texts may contain anything: in the HTML they are escaped, in the subject they are one line.
 */
export function renderEmail(draft: EmailDraft): Email {
  return { subject: oneLine(draft.subject), text: plainText(draft), html: html(draft), topic: draft.topic };
}

const oneLine = (text: string): string => text.replace(/[\p{Cc}\s]+/gu, " ").trim();

/** One paragraph for each line of the text. */
const paragraphsOf = (text: string): readonly string[] =>
  text
    .split("\n")
    .map(oneLine)
    .filter((line) => line !== "");

// --- text ------------------------------------------------------------------------------------------------------------

/** The line length of plain text; RFC 5322 section 2.1.1 asks for 78 characters at most. */
const lineColumns = 72;

function plainText({ title, sections, link, footer }: EmailDraft): string {
  const blocks = [
    wrapLines(oneLine(title), lineColumns),
    ...sections.map(sectionText),
    ...(link === null ? [] : [`${oneLine(link.text)}:\n${link.address}`]),
    // RFC 3676 section 4.3: what follows "-- " is the sender's, and a mail program may show it smaller.
    `-- \n${wrapLines(oneLine(footer), lineColumns)}`,
  ];
  return `${blocks.filter((block) => block !== "").join("\n\n")}\n`;
}

function sectionText(part: EmailSection): string {
  switch (part.kind) {
    case "paragraphs":
      return paragraphsOf(part.text)
        .map((line) => wrapLines(line, lineColumns))
        .join("\n");
    case "heading":
      return oneLine(part.text).toUpperCase();
    case "list":
      return part.items
        .map((item, place) => {
          const address = part.links?.[place];
          return `- ${wrapLines(oneLine(item), lineColumns - 2, "  ")}${address === undefined ? "" : `\n  ${oneLine(address)}`}`;
        })
        .join("\n");
    case "caution":
      return wrapLines(`${texts.email.caution} ${oneLine(part.text)}`, lineColumns);
  }
}

// --- HTML ------------------------------------------------------------------------------------------------------------

/**
 * The client's colors (client/style/colours.css; a test compares them with that file and with WCAG 2.2, 1.4.3). Each text color is
 * given with its background, since many mail programs drop a style sheet, and one that darkens only the background would hide
 * the text. Programs that use the style sheet show the dark colors at night.
 */
const day = { paper: "#eef0e8", leaf: "#f8f9f3", ink: "#1b2a33", pencil: "#4c5a62", rule: "#c3c9bd", berry: "#9b1c2e" };
const night = {
  paper: "#12191e",
  leaf: "#1a242a",
  ink: "#ebe8db",
  pencil: "#aab4b3",
  rule: "#37444b",
  berry: "#ff9b90",
};
export const emailColors = { day, night };

const darkStyle = [
  ":root{color-scheme:light dark}",
  "@media (prefers-color-scheme:dark){",
  `.paper{background-color:${night.paper}!important;color:${night.ink}!important}`,
  `.leaf{background-color:${night.leaf}!important;color:${night.ink}!important;border-color:${night.rule}!important}`,
  `.link{background-color:${night.leaf}!important;color:${night.ink}!important}`,
  `.caution{background-color:${night.leaf}!important;color:${night.berry}!important;border-color:${night.berry}!important}`,
  `.foot{background-color:${night.paper}!important;color:${night.pencil}!important}`,
  "}",
].join("");

const serif = "'Iowan Old Style',Palatino,Georgia,serif";
const sans = "system-ui,-apple-system,'Segoe UI',Roboto,sans-serif";
const lightStyle = `color:${day.ink};background-color:${day.leaf}`;

function html({ subject, title, sections, link, footer }: EmailDraft): string {
  const pieces = [
    `<h1 style="margin:0 0 16px;font:600 22px/1.3 ${serif}">${escapeHtml(oneLine(title))}</h1>`,
    ...sections.map(sectionHtml),
    ...(link === null ? [] : [linkHtml(link.text, link.address)]),
  ];
  return [
    `<!DOCTYPE html><html lang="${language}"><head><meta charset="utf-8">`,
    '<meta name="viewport" content="width=device-width,initial-scale=1">',
    '<meta name="color-scheme" content="light dark"><meta name="supported-color-schemes" content="light dark">',
    `<title>${escapeHtml(oneLine(subject))}</title><style>${darkStyle}</style></head>`,
    `<body class="paper" style="margin:0;padding:16px;color:${day.ink};background-color:${day.paper}">`,
    '<div style="max-width:560px;margin:0 auto">',
    `<div class="leaf" style="padding:20px;border:1px solid ${day.rule};${lightStyle};font:17px/1.5 ${sans}">`,
    ...pieces,
    "</div>",
    `<p class="foot" style="margin:16px 4px;font:14px/1.5 ${sans};color:${day.pencil};background-color:${day.paper}">`,
    `${escapeHtml(oneLine(footer))}</p>`,
    "</div></body></html>\n",
  ].join("\n");
}

function sectionHtml(part: EmailSection): string {
  switch (part.kind) {
    case "paragraphs":
      return paragraphsOf(part.text)
        .map((line) => `<p style="margin:0 0 14px">${escapeHtml(line)}</p>`)
        .join("\n");
    case "heading":
      return `<h2 style="margin:20px 0 8px;font:600 18px/1.3 ${serif}">${escapeHtml(oneLine(part.text))}</h2>`;
    case "list":
      return [
        '<ul style="margin:0 0 14px;padding-left:22px">',
        ...part.items.map((item, place) => {
          const text = escapeHtml(oneLine(item));
          const address = part.links?.[place];
          const content =
            address === undefined
              ? text
              : `<a class="link" href="${escapeHtml(address)}" style="${lightStyle}">${text}</a>`;
          return `<li style="margin:0 0 6px">${content}</li>`;
        }),
        "</ul>",
      ].join("\n");
    case "caution":
      return (
        `<p class="caution" style="margin:0 0 14px;padding:8px 12px;border-left:4px solid ${day.berry};` +
        `color:${day.berry};background-color:${day.leaf}"><strong>${texts.email.caution}</strong> ${escapeHtml(oneLine(part.text))}</p>`
      );
  }
}

const linkHtml = (text: string, address: string): string =>
  `<p style="margin:20px 0 0"><a class="link" href="${escapeHtml(address)}" style="${lightStyle};font-weight:600">` +
  `${escapeHtml(oneLine(text))}</a></p>`;

const htmlEntities: Readonly<Record<string, string>> = {
  "&": "&amp;",
  "<": "&lt;",
  ">": "&gt;",
  '"': "&quot;",
  "'": "&#39;",
};
const escapeHtml = (text: string): string =>
  text.replace(/[&<>"']/g, (character) => htmlEntities[character] ?? character);
